// Reads calendars with the library ical.js, as a reference to compare with. The input on standard input is JSON: library, the folder of the library,
// and calendars, a list of texts. The output is JSON: version, and events, a list of those of each calendar.
const fs = require("fs");
const path = require("path");

const question = JSON.parse(fs.readFileSync(0, "utf8"));
const about = JSON.parse(fs.readFileSync(path.join(question.library, "package.json"), "utf8"));

import(path.join(question.library, "dist", "ical.js")).then((module) => {
  const ICAL = module.default;
  const utc = (time) => time.toJSDate().toISOString().replace(".000Z", "Z");
  const events = question.calendars.map((text) => {
    const calendar = new ICAL.Component(ICAL.parse(text));
    return calendar.getAllSubcomponents("vevent").map((component) => {
      const event = new ICAL.Event(component);
      const attendee = component.getFirstProperty("attendee");
      return {
        method: calendar.getFirstPropertyValue("method"),
        uid: event.uid,
        sequence: event.sequence,
        status: component.getFirstPropertyValue("status"),
        starts: utc(event.startDate),
        ends: utc(event.endDate),
        summary: event.summary,
        location: event.location || "",
        description: event.description || "",
        organizer: component.getFirstPropertyValue("organizer"),
        attendee: attendee.getFirstValue(),
        attendee_name: attendee.getParameter("cn") || "",
      };
    });
  });
  process.stdout.write(JSON.stringify({ version: "ical.js " + about.version, events }));
});
