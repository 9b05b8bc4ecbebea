// What a test asks of a page about its keyboard and its size. It is given to the page by the browser, which the page's own policy does not concern.
window.walk = (() => {
  const name = (e) => e === null ? "nothing" : e.outerHTML.replace(/\s+/g, " ").slice(0, 110);
  const seen = (e) => e.checkVisibility({ visibilityProperty: true });
  // slots are what Tab should stop at, in the order of the page; radio buttons of a name are one stop.
  const slots = [], slotOf = new Map(), groups = new Map();
  for (const e of document.querySelectorAll("a[href], button, input:not([type=hidden]), select, textarea, summary, [tabindex]")) {
    if (e.tabIndex < 0 || e.disabled || !seen(e)) continue;
    const group = e.type === "radio" ? (e.form ? [...document.forms].indexOf(e.form) : "") + " " + e.name : "";
    if (group && groups.has(group)) { slotOf.set(e, groups.get(group)); continue; }
    if (group) groups.set(group, slots.length);
    slotOf.set(e, slots.length);
    slots.push(e);
  }
  // ringed reports a ring that one can see, at the element or at what stands in its place.
  const ringed = (e) => [e, e.nextElementSibling].some((x) => {
    if (x === null) return false;
    const s = getComputedStyle(x);
    return s.outlineStyle !== "none" && parseFloat(s.outlineWidth) >= 2 && s.outlineColor !== getComputedStyle(document.body).backgroundColor;
  });
  let log = [];
  document.addEventListener("focusin", (event) => {
    const e = event.target, box = e.getBoundingClientRect();
    let fault = "";
    if (!ringed(e)) fault = "has no ring";
    else if (box.width === 0 || box.height === 0 || box.right <= 0 || box.bottom + scrollY <= 0) fault = "cannot be seen";
    const scrolls = e.scrollWidth > e.clientWidth && getComputedStyle(e).overflowX !== "visible"; // Chromium stops at such boxes by itself
    if (slotOf.has(e)) log.push({ slot: slotOf.get(e), fault: fault && name(e) + " " + fault });
    else if (!scrolls) log.push({ slot: -1, fault: name(e) + " is a stop that nobody expects" });
  });
  const clicks = [];
  window.addEventListener("click", (event) => {
    if (!window.walk.holding) return;
    event.preventDefault();
    event.stopImmediatePropagation();
    clicks.push(event.isTrusted);
  }, true);
  const boxOf = (e) => { for (let x = e; x && x !== document.body; x = x.parentElement) { if (/auto|scroll/.test(getComputedStyle(x).overflowX)) return x; } return null; };
  return {
    holding: false,
    count: slots.length,
    // slow is how many further stops the parts of fields for days and times may make.
    slow: document.querySelectorAll("input[type=date], input[type=time], input[type=datetime-local]").length * 8,
    // from puts the focus where nothing has it, or at the last stop.
    from: (last) => {
      document.body.tabIndex = -1;
      document.body.focus();
      document.body.removeAttribute("tabindex");
      window.scrollTo(0, 0);
      if (last) slots.at(-1).focus();
      log = last ? [{ slot: slots.length - 1, fault: "" }] : [];
      return true;
    },
    log: () => log,
    names: () => slots.map(name),
    // hidden are stops that something lies upon when they have the focus.
    hidden: () => slots.flatMap((e) => {
      e.focus();
      const box = e.getClientRects()[0] ?? e.getBoundingClientRect();
      const x = Math.min(Math.max(box.left + Math.min(box.width / 2, 12), 0), innerWidth - 1), y = Math.min(Math.max(box.top + Math.min(box.height / 2, 12), 0), innerHeight - 1);
      const top = document.elementFromPoint(x, y);
      return top && (e.contains(top) || top.contains(e) || e.closest("label")?.contains(top)) ? [] : [name(e) + " lies under " + name(top)];
    }),
    // acts are the buttons of the page.
    acts: [...document.querySelectorAll("main button, main summary, main a.button")].filter((e) => slotOf.has(e)),
    clicks,
    // faults are what does not fit into the window as it is.
    faults: () => {
      const found = [], wide = document.documentElement.clientWidth;
      if (document.documentElement.scrollWidth > wide) found.push("the page is " + document.documentElement.scrollWidth + " px wide in a window of " + wide);
      for (const e of document.body.querySelectorAll("*")) {
        if (e.closest("svg") || e.matches("input, select, option, textarea, .skip") || !seen(e) || e.clientWidth <= 1) continue;
        const s = getComputedStyle(e), box = e.getBoundingClientRect();
        if (/hidden|clip/.test(s.overflowX) && e.scrollWidth > e.clientWidth + 1) found.push("cut off at the side: " + name(e));
        if (/hidden|clip/.test(s.overflowY) && e.clientHeight > 1 && e.scrollHeight > e.clientHeight + 1) found.push("cut off below: " + name(e));
        if ((box.right > wide + 1 || box.left < -1) && boxOf(e) === null) found.push("sticks out: " + name(e));
      }
      for (const e of document.querySelectorAll("svg[width]:not([viewBox])")) {
        if (seen(e) && e.getBoundingClientRect().width < parseFloat(e.getAttribute("width")) - 1) found.push("a picture without its right side: " + name(e));
      }
      for (const e of slots) {
        const box = e.getBoundingClientRect();
        if (!e.matches(".skip") && seen(e) && (box.right > wide + 1 || box.left < -1) && boxOf(e) === null) found.push("sticks out: " + name(e));
      }
      return found.slice(0, 5);
    },
  };
})();
true
