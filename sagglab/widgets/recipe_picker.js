function render({ model, el }) {
  const heard = answers(model, el);
  const inputs = new Map();
  const heats = new Map();
  // Begun anywhere, so that two views of one picker ask under numbers of their own.
  let number = Math.floor(Math.random() * 2 ** 40), waiting = false, again = false;

  const firing = element("select", { "aria-label": "Firing", onchange: change });
  const controls = element("div", {},
    ...model.get("controls").map((control) => control.levels ? kind(control) : amount(control)),
    element("div", { class: "sagglab-control" }, element("label", {}, "Firing ", firing)));
  const colours = element("div", { class: "sagglab-colours" });
  const cutCorner = element("p", { class: "sagglab-cornered" }, "A cut corner: a colour that the display cannot show.");
  const numbers = element("table", { class: "sagglab-numbers" });
  const sentence = element("p", { role: "status" });
  const notes = element("ul", { class: "sagglab-notes" });
  const code = element("textarea", { rows: 2, readonly: true, spellcheck: "false", "aria-label": "The same as a line of Python",
    onfocus: () => code.select() });
  const copied = element("span", { role: "status" });
  const kept = element("div", { class: "sagglab-kept" });
  el.append(
    element("h3", {}, "Recipe picker"),
    element("div", { class: "sagglab-picker" }, controls,
      element("div", { class: "sagglab-shown" }, colours, cutCorner, numbers, sentence, notes,
        element("p", {}, model.get("care")),
        element("div", { class: "sagglab-code" }, code, element("button", { onclick: copy }, "Copy")), copied,
        element("div", { class: "sagglab-row" },
          element("button", { onclick: () => ask(model, "keep") }, "Keep this one")))),
    ...heard.parts, kept,
  );

  function amount(control) {
    const { heading, unit, low, high, step } = control;
    const name = control.label + (unit ? " [" + unit + "]" : "");
    const slider = element("input", { type: "range", min: low, max: high, step,
      "aria-label": name, disabled: low >= high,
      oninput: () => { box.value = slider.value; speak(); change(); } });
    const box = element("input", { type: "number", step: "any",
      "aria-label": name + ", as a number",
      oninput: () => { if (box.value !== "") { slider.value = box.value; speak(); change(); } } });
    const speak = () => slider.setAttribute("aria-valuetext", box.value + (unit ? " " + unit : ""));
    const heat = element("span");
    inputs.set(heading, {
      value: () => (box.value === "" ? undefined : Number(box.value)),
      take: (value = "") => { box.value = value; slider.value = value; speak(); },
    });
    heats.set(heading, heat);
    return element("div", { class: "sagglab-control" }, element("label", {}, name),
      element("div", { class: "sagglab-row" }, slider, box, heat),
      element("span", {}, "tried: " + control.tried));
  }

  function kind(control) {
    const choice = element("select", { "aria-label": control.label, onchange: change }, option("", "left open: the mean of its kinds"),
      ...control.levels.map((level) => option("=" + level, level)));
    inputs.set(control.heading, {
      value: () => (choice.value === "" ? undefined : choice.value.slice(1)),
      take: (value) => { choice.value = value === undefined ? "" : "=" + value; },
    });
    return element("div", { class: "sagglab-control" }, element("label", {}, control.label + " ", choice));
  }

  function option(value, text) {
    return element("option", { value }, text);
  }

  /** One question at a time: what changes meanwhile is asked once the answer is there, the last state alone. */
  function change() {
    if (waiting) {
      again = true;
      return;
    }
    const recipe = {};
    for (const [heading, { value }] of inputs) if (value() !== undefined) recipe[heading] = value();
    waiting = true;
    number += 1;
    ask(model, "predict", { recipe, firing: firing.value === "" ? null : firing.value.slice(1), number });
  }

  function answered() {
    if (model.get("busy")) return;
    waiting = false;
    if (again) {
      again = false;
      change();
    }
  }

  function figure(swatch) {
    const field = element("span", { class: "sagglab-field" + (swatch.cut ? " sagglab-cut" : ""), role: "img",
      "aria-label": swatch.name + (swatch.cut ? ": a colour that the display cannot show" : "") });
    field.style.backgroundColor = swatch.colour;
    return element("figure", {}, field, element("figcaption", {}, swatch.name));
  }

  function rows(pairs) {
    return pairs.map(([axis, text]) => element("tr", {}, element("th", { scope: "row" }, axis),
      element("td", {}, text)));
  }

  function show() {
    const shown = model.get("shown");
    colours.replaceChildren(...shown.swatches.map(figure));
    cutCorner.hidden = !shown.swatches.some((swatch) => swatch.cut);
    numbers.replaceChildren(element("caption", {}, shown.what + ", with 95 % intervals"), ...rows(shown.numbers));
    sentence.textContent = shown.sentence;
    notes.replaceChildren(...shown.notes.map((note) => element("li", {}, note)));
    code.value = shown.code;
    copied.textContent = "";
    for (const [heading, heat] of heats) heat.textContent = shown.heats[heading] || "";
    // Another view asked for it, or this one before it was shown again.
    if (shown.number !== number && !waiting) {
      for (const [heading, { take }] of inputs) take(shown.chosen[heading]);
      firing.value = shown.firing === null ? "" : "=" + shown.firing;
    }
  }

  async function copy() {
    try {
      await navigator.clipboard.writeText(code.value);
      copied.textContent = "Copied.";
    } catch {
      code.focus();
      code.select();
      copied.textContent = "Selected: copy it with Ctrl+C or ⌘C.";
    }
  }

  function showKept() {
    kept.replaceChildren(...model.get("kept").map((one, place) => {
      const fields = element("div", { class: "sagglab-colours" }, ...one.swatches.map(figure));
      return element("section", { "aria-label": "Kept recipe " + (place + 1) }, fields,
        element("p", {}, element("strong", {}, one.recipe)), element("p", {}, one.what),
        element("table", {}, ...rows(one.numbers)),
        element("button", { onclick: () => ask(model, "drop", { place }) }, "Take away " + (place + 1)));
    }));
  }

  firing.append(option("", "a new firing"), ...model.get("firings").map((name) => option("=" + name, "firing " + name)));
  const watched = { "change:shown": show, "change:kept": showKept, "change:busy": answered };
  for (const [event, shows] of Object.entries(watched)) model.on(event, shows);
  show();
  showKept();
  return () => {
    heard.stop();
    for (const [event, shows] of Object.entries(watched)) model.off(event, shows);
  };
}

export default { render };
