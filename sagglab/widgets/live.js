// What all widgets share. Text is set as text, never as HTML: names are the potter's own.

/** Make an element: attributes by name, listeners by "on…", text and elements as children. */
function element(tag, attributes = {}, ...children) {
  const svg = ["svg", "g", "path", "polygon", "polyline", "circle", "rect", "text", "line", "image", "title",
    "clipPath", "defs"];
  const made = svg.includes(tag)
    ? document.createElementNS("http://www.w3.org/2000/svg", tag)
    : document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name.startsWith("on")) made.addEventListener(name.slice(2), value);
    else if (value === true) made.setAttribute(name, "");
    else if (value !== false && value !== null && value !== undefined) made.setAttribute(name, value);
  }
  made.append(...children.filter((child) => child !== null && child !== undefined));
  return made;
}

/** Set attributes of an element that is there already. */
function set(node, values) {
  for (const [name, value] of Object.entries(values)) node.setAttribute(name, value);
}

/** How long a question may go unanswered before the widget says so, and be worked on before it says that: what
 *  is answered sooner would flicker. Milliseconds. */
const PATIENCE = 4000, AT_ONCE = 500;

/** Ask the kernel; Python answers by the method asked_NAME. */
function ask(model, name, values = {}) {
  model.sagglabAsked?.();
  model.send({ ask: name, values });
}

/** Make a widget's element, `el`, ready: its keys stay its own, and what the kernel answers, faults too, is
 *  read out in `parts`, to be put into it. `stop` is to be called at its end. */
function answers(model, el) {
  // Else the notebook takes arrows and letters for commands, and leaves the cell, or deletes it.
  // It is asked of the focused element itself, before what it lies in.
  el.addEventListener("focusin", (event) => event.target.setAttribute("data-lm-suppress-shortcuts", "true"));
  el.classList.add("sagglab-live");
  const heard = element("div", { class: "sagglab-said", role: "status", "aria-live": "polite" });
  let timer = 0;
  const working = () => {
    heard.className = "sagglab-said";
    heard.replaceChildren("Working …");
  };
  const show = () => {
    clearTimeout(timer);
    if (model.get("busy")) {
      timer = setTimeout(working, AT_ONCE);
      return;
    }
    heard.replaceChildren();
    heard.className = "sagglab-said";
    const said = model.get("said");
    if (!said || !said.cause) return;
    const fault = said.kind === "fault";
    if (fault) {
      heard.classList.add("sagglab-fault");
      heard.append(element("strong", {}, "▲ " + (said.where || "This could not be done")), ": ");
    }
    heard.append(said.cause + ".");
    if (said.remedy) heard.append(" " + said.remedy[0].toUpperCase() + said.remedy.slice(1) + ".");
  };
  const unanswered = () => {
    heard.className = "sagglab-said sagglab-fault";
    heard.replaceChildren("▲ No answer yet. The notebook is busy with another cell, and answers when that is "
      + "done; or its kernel has ended: then run this cell again.");
  };
  // A kernel that has ended answers nothing, and no event tells it of every way to end.
  model.sagglabAsked = () => {
    clearTimeout(timer);
    timer = setTimeout(unanswered, PATIENCE);
  };
  model.on("change:said", show);
  model.on("change:busy", show);
  show();
  const stop = () => {
    clearTimeout(timer);
    model.off("change:said", show);
    model.off("change:busy", show);
  };
  return { parts: [heard], stop };
}
