// What every page of the console does with scripts. All of it works without, by forms and links.
"use strict";

// An element with data-follow listens to a stream: an event that is named after the ID of an element replaces what is in it.
for (const element of document.querySelectorAll("[data-follow]")) {
  const stream = new EventSource(element.dataset.follow);
  const names = (element.dataset.parts || "").split(" ").filter(Boolean);
  for (const name of names) {
    stream.addEventListener(name, (event) => {
      const part = document.getElementById(name);
      if (!part) return;
      part.innerHTML = event.data; // made and escaped by our server's templates
      if (window.htmx) window.htmx.process(part);
    });
  }
  stream.addEventListener("away", (event) => {
    stream.close();
    if (event.data.startsWith("/")) window.location.assign(event.data);
  });
}

// A form with data-once is sent once, however often its button is pressed. Marked rather than disabled: a disabled button is not sent with its form.
document.addEventListener("submit", (event) => {
  const form = event.target;
  if (!(form instanceof HTMLFormElement) || !form.hasAttribute("data-once")) return;
  if (form.dataset.sent) event.preventDefault();
  form.dataset.sent = "yes";
});

// A select or a day with data-send sends its form when it changes; a button beside it, inside noscript, does it otherwise.
document.addEventListener("change", (event) => {
  const field = event.target;
  if (field instanceof HTMLElement && field.hasAttribute("data-send")) field.form.requestSubmit();
});

// Pages that come from the browser's memory may be old: what was sent may be sent again from them.
window.addEventListener("pageshow", (event) => {
  if (!event.persisted) return;
  for (const form of document.querySelectorAll("form[data-sent]")) delete form.dataset.sent;
});

// What a phone has kept and not sent is lost when its person signs out (rounds.js counts it): they are asked first.
document.addEventListener("submit", (event) => {
  const form = event.target, kept = Number(localStorage.getItem("longlead-unsent") || 0);
  if (!(form instanceof HTMLFormElement) || form.getAttribute("action") !== "/sign-out" || !kept || form.dataset.sure) return;
  event.preventDefault();
  const ask = document.createElement("dialog"), words = document.createElement("p");
  ask.setAttribute("aria-label", "Signing out");
  words.textContent = (kept === 1 ? "1 session is" : kept + " sessions are") + " kept on this phone and not sent. Signing out loses what is kept here.";
  const button = (text, kind, act) => {
    const b = document.createElement("button");
    b.textContent = text;
    b.className = kind;
    b.addEventListener("click", act);
    ask.append(b, " ");
  };
  ask.append(words);
  button("Stay signed in", "", () => ask.remove());
  button("Sign out and lose it", "grave", () => {
    form.dataset.sure = "yes";
    localStorage.removeItem("longlead-unsent");
    form.requestSubmit();
  });
  ask.addEventListener("close", () => ask.remove());
  document.body.append(ask);
  ask.showModal();
});
