"""Reads letters with Python's email package and the library icalendar, as references to compare with.

The input on standard input is JSON: a list of messages, each in base64. The output is JSON: version, and letters, each with the decoded
header, the parts (media type, charset, method, decoded text), what the parser found wrong, the calendar events, and whether the first
DKIM signature holds with the public key that is given beside the messages (modulus and exponent), worked out here from RFC 6376.
"""

import base64
import datetime
import email
import email.header
import email.policy
import hashlib
import json
import re
import sys

import icalendar


def utc(moment):
    return moment.astimezone(datetime.timezone.utc).strftime("%Y-%m-%dT%H:%M:%SZ")


def events_of(text):
    calendar = icalendar.Calendar.from_ical(text)
    return [
        {
            "method": str(calendar["METHOD"]),
            "uid": str(event["UID"]),
            "sequence": int(event["SEQUENCE"]),
            "status": str(event["STATUS"]),
            "starts": utc(event.decoded("DTSTART")),
            "ends": utc(event.decoded("DTEND")),
            "summary": str(event["SUMMARY"]),
            "location": str(event.get("LOCATION", "")),
            "description": str(event.get("DESCRIPTION", "")),
            "organizer": str(event["ORGANIZER"]),
            "attendee": str(event["ATTENDEE"]),
            "attendee_name": str(event["ATTENDEE"].params.get("CN", "")),
        }
        for event in calendar.walk("VEVENT")
    ]


def relaxed_header(field):
    name, value = field.split(b":", 1)
    value = re.sub(rb"\r\n(?=[ \t])", b"", value)
    return name.strip().lower() + b":" + re.sub(rb"[ \t]+", b" ", value).strip() + b"\r\n"


def relaxed_body(body):
    lines = [re.sub(rb"[ \t]+", b" ", line).rstrip(b" ") for line in body.split(b"\r\n")]
    while lines and not lines[-1]:
        lines.pop()
    return b"".join(line + b"\r\n" for line in lines)


def signature_holds(raw, key):
    """RFC 6376 sections 3.4.2, 3.4.4, 3.7 and 6.1.3 for rsa-sha256 and relaxed/relaxed; padding by RFC 8017 section 9.2."""
    head, body = raw.split(b"\r\n\r\n", 1)
    fields = re.findall(rb"[^\r\n]+(?:\r\n[ \t][^\r\n]*)*", head)
    signature = next((f for f in fields if f.lower().startswith(b"dkim-signature:")), None)
    if signature is None or key is None:
        return False
    value = re.sub(rb"\r\n(?=[ \t])", b"", signature.split(b":", 1)[1])
    tags = {k.strip(): re.sub(rb"\s+", b"", v) for k, v in (t.split(b"=", 1) for t in value.split(b";") if t.strip())}
    if tags[b"a"] != b"rsa-sha256" or tags[b"c"] != b"relaxed/relaxed":
        return False
    if base64.b64encode(hashlib.sha256(relaxed_body(body)).digest()) != tags[b"bh"]:
        return False
    rest, signed = list(fields), b""
    for name in tags[b"h"].lower().split(b":"):
        for i in range(len(rest) - 1, -1, -1):
            if rest[i].split(b":", 1)[0].strip().lower() == name:
                signed += relaxed_header(rest.pop(i))
                break
    signed += relaxed_header(re.sub(rb"(\bb=)[^;]*", rb"\1", signature)).removesuffix(b"\r\n")
    modulus, exponent = int(key["modulus"]), int(key["exponent"])
    size = (modulus.bit_length() + 7) // 8
    opened = pow(int.from_bytes(base64.b64decode(tags[b"b"]), "big"), exponent, modulus).to_bytes(size, "big")
    info = bytes.fromhex("3031300d060960864801650304020105000420") + hashlib.sha256(signed).digest()
    return opened == b"\x00\x01" + b"\xff" * (size - len(info) - 3) + b"\x00" + info


def decoded(raw, name):
    """A field with its encoded words decoded. The newer parser keeps the blanks between those of a name, against RFC 2047 section 6.2."""
    return str(email.header.make_header(email.header.decode_header(email.message_from_bytes(raw)[name])))


def read(raw, key):
    message = email.message_from_bytes(raw, policy=email.policy.default)
    parts, defects, events = [], [str(d) for d in message.defects], []
    for part in message.walk():
        defects += [str(d) for d in part.defects]
        if part.is_multipart():
            continue
        text = part.get_content()
        parts.append({"type": part.get_content_type(), "charset": part.get_content_charset(""), "method": part.get_param("method") or "", "text": text})
        if part.get_content_type() == "text/calendar":
            events += events_of(part.get_payload(decode=True))
    return {
        "from": decoded(raw, "From"),
        "to": decoded(raw, "To"),
        "subject": str(message["Subject"]),
        "message_id": str(message["Message-ID"]),
        "date": utc(message["Date"].datetime),
        "headers": sorted({name.lower() for name in message.keys()}),
        "type": message.get_content_type(),
        "parts": parts,
        "defects": defects,
        "events": events,
        "signed": signature_holds(raw, key),
    }


question = json.load(sys.stdin)
letters = [read(base64.b64decode(m), question["key"]) for m in question["messages"]]
version = "%s.%s" % sys.version_info[:2]
json.dump({"version": "email of Python %s and icalendar %s" % (version, icalendar.__version__), "letters": letters}, sys.stdout)
