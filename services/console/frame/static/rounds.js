// A trainer's day on a phone (package rounds): the form within the page, sessions that are kept on the phone until the server has them, and what is
// now and next. Without scripts the same is done by links and a plain form.
"use strict";

(() => {
  const root = document.querySelector("[data-rounds]");
  if (!root) return;
  const login = root.dataset.login, day = root.dataset.day, home = root.dataset.path;
  const zone = root.dataset.zone, today = root.dataset.today === "yes";
  const $ = (selector) => root.querySelector(selector);
  const form = $("#log form");

  // The phone's clock may be wrong. How far is known from a page that has just come; one that was kept is told by its instant.
  const skew = (() => {
    const now = root.dataset.now, known = JSON.parse(localStorage.getItem("longlead-clock") || "{}");
    if (known.now === now) return known.skew;
    const found = Date.now() - Number(now);
    localStorage.setItem("longlead-clock", JSON.stringify({now, skew: found}));
    return found;
  })();

  // clockOf is what the site's clocks showed when the phone's own showed an instant.
  const clockOf = (text) => new Intl.DateTimeFormat("en-GB", {timeZone: zone, hour: "2-digit", minute: "2-digit"}).format(new Date(text).getTime() - skew);

  // ---- What is kept on the phone.
  const opened = new Promise((done, fail) => {
    const request = indexedDB.open("longlead-rounds", 1);
    request.onupgradeneeded = () => request.result.createObjectStore("sessions", {keyPath: "key"});
    request.onsuccess = () => done(request.result);
    request.onerror = () => fail(request.error);
  });
  const work = async (mode, act) => {
    const db = await opened;
    return new Promise((done, fail) => {
      const tx = db.transaction("sessions", mode), request = act(tx.objectStore("sessions"));
      tx.oncomplete = () => done(request && request.result);
      tx.onerror = tx.onabort = () => fail(tx.error);
    });
  };
  const put = (record) => work("readwrite", (store) => store.put(record));
  const drop = (key) => work("readwrite", (store) => store.delete(key));
  const everything = () => work("readonly", (store) => store.getAll());
  const mine = async () => (await everything()).filter((r) => r.login === login).sort((a, b) => a.made - b.made);
  const unsent = (records) => records.filter((r) => r.state !== "sent");

  const uuid = () => {
    const b = crypto.getRandomValues(new Uint8Array(16));
    b[6] = b[6] & 15 | 64;
    b[8] = b[8] & 63 | 128;
    const hex = Array.from(b, (n) => n.toString(16).padStart(2, "0")).join("");
    return [hex.slice(0, 8), hex.slice(8, 12), hex.slice(12, 16), hex.slice(16, 20), hex.slice(20)].join("-");
  };

  // ---- What is shown.
  const signal = $("#signal");
  const say = (text) => {
    signal.hidden = !text;
    if (signal.textContent !== text) signal.textContent = text;
  };
  const add = (to, tag, text, kind) => {
    const e = document.createElement(tag);
    e.textContent = text;
    if (kind) e.className = kind;
    to.append(" ", e);
    return e;
  };
  const skillName = (code) => form ? (Array.from(form.elements.skill.options).find((o) => o.value === code) || {text: code}).text : code;

  async function show() {
    const all = await everything(), records = all.filter((r) => r.login === login).sort((a, b) => a.made - b.made);
    // For signing out: whatever is lost then, whoever wrote it.
    localStorage.setItem("longlead-unsent", String(unsent(all).length));
    const list = $("#held");
    for (const old of list.querySelectorAll("[data-mine]")) old.remove();
    for (const r of records) {
      if (r.replaces) {
        for (const e of list.querySelectorAll("li")) if (e.dataset.key === r.replaces) e.hidden = true;
      }
    }
    for (const r of records) {
      const there = Array.from(list.children).some((e) => e.dataset.key === r.key);
      if (r.day !== day || there || records.some((later) => later.replaces === r.key)) continue;
      const li = document.createElement("li");
      li.dataset.key = r.key;
      li.dataset.mine = "";
      add(li, "span", r.at, "n");
      add(li, "b", r.dogName || r.dog);
      li.append(" " + skillName(r.skill) + " ");
      add(li, "span", r.successes + " of " + r.trials, "n");
      add(li, "span", {kept: "kept on this phone", sent: "sent", refused: "refused"}[r.state], "state " + r.state);
      if (form) {
        const mend = add(li, "a", "Correct", "mend");
        mend.href = home + "#log";
        mend.dataset.entry = JSON.stringify(r);
      }
      if (r.note) add(li, "span", r.note, "note");
      if (r.state === "refused") add(li, "span", r.reason, "fault");
      list.append(li);
      for (const line of root.querySelectorAll("[data-line]")) if (r.line !== "" && line.dataset.line === r.line) line.classList.add("done");
    }
    $("#nothing").hidden = list.children.length > 0;
    const waiting = unsent(records), refused = waiting.filter((r) => r.state === "refused").length, kept = waiting.length - refused;
    const words = [];
    if (!navigator.onLine) words.push("No connection.");
    if (kept) words.push(kept === 1 ? "1 session is kept on this phone and not sent yet." : kept + " sessions are kept on this phone and not sent yet.");
    if (refused) words.push(refused + " refused: look under Logged, and correct it.");
    if (signedOut && waiting.length) words.push("Sign in again to send.");
    if (Math.abs(skew) > 600000) words.push("This phone's clock is " + Math.round(Math.abs(skew) / 60000) + " min " + (skew > 0 ? "ahead" : "behind") + ": set it right, or write the time in each session.");
    say(words.join(" "));
    signal.querySelector("a")?.remove();
    if (signedOut && waiting.length) {
      const a = add(signal, "a", "Sign in");
      a.href = "/sign-in?back=" + encodeURIComponent(home);
    }
  }

  function clock() {
    const now = Date.now() - skew;
    let next = null;
    const near = new Set();
    for (const line of root.querySelectorAll("[data-line]")) {
      const from = Number(line.dataset.from), to = Number(line.dataset.to);
      const on = from <= now && now < to;
      if (!next && now < from) next = line;
      line.classList.toggle("now", on);
      line.classList.toggle("next", line === next);
      line.classList.toggle("past", to <= now);
      line.querySelector(".mark").textContent = on ? "Now" : line === next ? "Next" : "";
      if ((on || line === next) && line.dataset.of) near.add(line.dataset.of);
    }
    // Their cautions stand open, before those of all others.
    for (const dog of root.querySelectorAll("[data-dog]")) {
      const to = near.has(dog.dataset.dog) ? $("#near") : $("#far");
      if (dog.parentElement === to) continue;
      dog.open = to.id === "near";
      to.append(dog);
    }
  }

  // ---- Sending. It may happen any number of times: each session has its ID from here.
  let signedOut = false, sending = false, again = false;
  async function send() {
    if (sending) {
      again = true;
      return;
    }
    sending = true;
    try {
      const waiting = (await mine()).filter((r) => r.state === "kept").slice(0, 200);
      if (waiting.length === 0) return;
      // Who is signed in may have changed since this page was made, and with them what forms carry.
      const who = await fetch("/rounds-token", {headers: {"X-Form-Token": "asked"}, cache: "no-store"});
      signedOut = who.status === 401;
      if (!who.ok || who.redirected) return;
      const told = await who.json();
      if (told.login !== login) {
        signedOut = true; // somebody else is here now: what this person wrote waits for them
        return;
      }
      const answer = await fetch("/rounds-queue", {method: "POST", headers: {"X-Form-Token": told.token, "Content-Type": "application/json"}, body: JSON.stringify({login, entries: waiting})});
      signedOut = answer.status === 401;
      if (!answer.ok || answer.redirected) return;
      for (const outcome of await answer.json()) {
        const record = waiting.find((r) => r.key === outcome.key);
        if (record) await put({...record, state: outcome.kept ? "sent" : "refused", reason: outcome.reason || ""});
      }
    } catch {
      // No connection: it is tried again.
    } finally {
      sending = false;
      await show();
      if (again) {
        again = false;
        send();
      }
    }
  }

  async function tidy() {
    for (const r of await everything()) if (r.state === "sent" && Date.now() - r.made > 2 * 86400e3) await drop(r.key);
  }

  // ---- The form.
  let entry = {}, touched = false, watch = 0, ticking = 0, was = 0;
  const field = (name) => form.elements[name];
  const number = (name) => Number(field(name).value.replace(",", ".")) || 0;

  function fill(from) {
    entry = from;
    // On the page of another day a session without a block of its own is at the time that is written there.
    touched = !from.trainedAt && (Boolean(from.replaces) || !today);
    for (const name of ["dog", "skill", "at", "note", "metres", "hold", "trials", "successes"]) field(name).value = from[name] || "";
    for (const name of ["settled", "distraction"]) for (const radio of field(name)) radio.checked = radio.value === (from[name] || (name === "settled" ? "" : "0"));
    if (!touched && !from.trainedAt) field("at").value = clockOf(Date.now());
    if (!from.trials) field("trials").value = field("successes").value = 0;
    field("trials").min = from.replaces ? 0 : 1;
    field("replaces").value = from.replaces || "";
    field("line").value = from.line || "";
    $("#log-dog").textContent = from.dogName || from.dog || "a session";
    $("#log-target").textContent = from.target ? "asked for: " + from.target : "";
    $("#log-keep").textContent = from.replaces ? "Correct it" : "Log it";
    $("#log-trouble").hidden = true;
    root.querySelector(".rare").open = !from.dog || !from.skill;
  }

  function openForm(from) {
    fill(from);
    was = window.scrollY;
    root.classList.add("logging");
    $("#log-head").setAttribute("tabindex", "-1");
    $("#log-head").focus({preventScroll: true});
    window.scrollTo(0, document.body.scrollHeight);
  }

  function closeForm() {
    stopWatch();
    root.classList.remove("logging");
    window.scrollTo(0, was);
  }

  function stopWatch() {
    clearInterval(ticking);
    if (watch) field("hold").value = Math.max(number("hold"), Math.round((Date.now() - watch) / 1000));
    watch = 0;
    const button = $("[data-watch]");
    if (button) button.textContent = "Start hold";
  }

  async function keep() {
    stopWatch();
    const v = (name) => field(name).value.trim(), made = Date.now();
    const trainedAt = touched ? "" : entry.trainedAt || new Date(made).toISOString();
    const record = {
      key: uuid(), login, made, state: "kept", reason: "", line: v("line"), dog: v("dog"), dogName: v("dog") === entry.dog ? entry.dogName : v("dog"), skill: v("skill"), trainer: entry.trainer || "",
      day, at: touched || entry.replaces ? v("at") : clockOf(trainedAt), zone: entry.zone || zone, trainedAt, trials: v("trials"), successes: v("successes"), hold: v("hold"),
      metres: v("metres"), distraction: v("distraction"), settled: v("settled"), note: v("note"), target: entry.target || "", replaces: v("replaces"),
    };
    if (Number(record.successes) > Number(record.trials)) {
      $("#log-trouble").textContent = "More passed than there were trials: mend one of them.";
      $("#log-trouble").hidden = false;
      return;
    }
    await put(record);
    if (entry.state === "refused") await drop(entry.key); // it never counted
    closeForm();
    await show();
    send();
  }

  function correctionOf(r) {
    if (!r.state) return r; // one that the server has listed
    // One of this phone's own. What was refused is written anew; anything else may have arrived, so that it is replaced.
    return {...r, replaces: r.state === "refused" ? r.replaces : r.key};
  }

  function wire() {
    for (const part of root.querySelectorAll("[data-steps]")) part.hidden = false;
    root.addEventListener("click", (event) => {
      const open = event.target.closest("[data-entry]");
      if (open) {
        event.preventDefault();
        const from = JSON.parse(open.dataset.entry);
        if (open.classList.contains("log")) {
          const now = new Date(Date.now() - skew);
          const line = open.closest("[data-line]");
          // A block of today that is not over ends now; one that is over ended when it was to.
          if (line && now.getTime() > Number(line.dataset.to)) {
            from.trainedAt = new Date(Number(line.dataset.to) + skew).toISOString();
            from.at = clockOf(from.trainedAt);
          }
        }
        openForm(correctionOf(from));
        return;
      }
      const button = event.target.closest("button, [data-leave]");
      if (!button) return;
      if (button.hasAttribute("data-leave")) {
        event.preventDefault();
        closeForm();
      } else if (button.dataset.trial !== undefined) {
        field("trials").value = number("trials") + 1;
        if (button.dataset.trial === "1") field("successes").value = number("successes") + 1;
      } else if (button.dataset.add) {
        const to = Math.max(0, number(button.dataset.add) + Number(button.dataset.by));
        field(button.dataset.add).value = Math.round(to * 100) / 100;
      } else if (button.hasAttribute("data-watch")) {
        if (watch) return stopWatch();
        watch = Date.now();
        ticking = setInterval(() => button.textContent = "Stop: " + Math.round((Date.now() - watch) / 1000) + " s", 250);
        button.textContent = "Stop: 0 s";
      }
    });
    field("at").addEventListener("input", () => touched = true);
    form.addEventListener("submit", (event) => {
      event.preventDefault();
      delete form.dataset.sent;
      keep().catch(() => form.submit()); // a phone that can keep nothing sends at once
    });
    if (root.classList.contains("logging")) {
      // The address asked for a form: take over what the server has filled in.
      entry = {dog: field("dog").value, dogName: $("#log-dog").textContent, trainer: "", replaces: field("replaces").value, target: $("#log-target").textContent.replace("asked for: ", "")};
      const line = Array.from(root.querySelectorAll("[data-line]")).find((l) => l.dataset.line === field("line").value);
      touched = Boolean(entry.replaces) || !today || Boolean(line && Number(line.dataset.to) < Date.now() - skew);
    }
  }

  // ---- The page itself is kept by a worker, where the browser lets pages have one.
  async function keepPage() {
    if (!navigator.serviceWorker) return;
    await navigator.serviceWorker.register("/rounds-worker.js", {scope: "/"});
    await navigator.serviceWorker.ready;
    if (!navigator.onLine) return;
    const pages = await caches.open("longlead-pages"), page = await fetch(home, {cache: "no-store"});
    if (!page.ok || page.redirected) return;
    await pages.put(home, page);
    const keptFiles = await caches.open("longlead-files");
    for (const e of document.querySelectorAll("link[rel=stylesheet], script[src]")) {
      const url = e.href || e.src;
      if (!await keptFiles.match(url)) await keptFiles.add(url);
    }
    root.dataset.kept = "yes";
  }

  opened.then(() => {
    if (form) wire();
    show().then(send);
    tidy();
  }).catch(() => say("This browser keeps nothing: what you log is sent at once, and needs a connection."));
  keepPage().catch(() => {});
  clock();
  setInterval(clock, 15000);
  setInterval(send, 30000);
  window.addEventListener("online", send);
  window.addEventListener("offline", show);
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && send());
})();
