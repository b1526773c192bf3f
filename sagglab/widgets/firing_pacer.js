function render({ model, el }) {
  const heard = answers(model, el);
  const page = "page " + Math.random();
  const pending = new Map();
  let number = 0;

  const wanted = element("p");
  const cautions = element("ul", { class: "sagglab-cautions", "aria-label": "Cautions" });
  const box = element("input", { type: "text", inputmode: "text", autocomplete: "off", spellcheck: "false",
    id: "sagglab-" + page.slice(7),
    onkeydown: (event) => { if (event.key === "Enter" && !event.isComposing) submit(event); } });
  const unit = element("span");
  const strike = element("button", { type: "button", onclick: () => send("-") });
  const answer = element("div", { class: "sagglab-answer", role: "status", "aria-live": "assertive" });
  const waiting = element("div", { class: "sagglab-waiting", role: "status" });
  const picture = element("div");
  const list = element("div", { class: "sagglab-list", tabindex: "0", role: "region", "aria-label": "Readings" });
  const kept = element("p");
  const entry = element("form", { class: "sagglab-entry", onsubmit: submit },
    element("label", { for: box.id }, "Temperature now"), box, unit,
    element("button", { type: "submit", class: "sagglab-first" }, "Keep (Enter)"));
  const more = element("div", { class: "sagglab-row" }, strike,
    element("button", { type: "button", onclick: () => send("") }, "How does it go?"),
    element("button", { type: "button", onclick: () => send("help") }, "What can be typed?"));
  entry.hidden = more.hidden = !model.get("typed_here");
  el.append(element("div", { class: "sagglab-pacer" },
    element("h3", {}, "Firing " + model.get("firing")), wanted, cautions, entry, waiting, answer, more,
    ...heard.parts,
    element("div", { class: "sagglab-below" }, picture, element("div", {}, list, kept))));

  function submit(event) {
    event.preventDefault();
    event.stopPropagation();
    if (box.value.trim() === "") return;
    send(box.value);
    box.value = "";
  }

  /** Hand a line to the kernel, with the time at which it was typed: a busy kernel reads it later. */
  function send(line) {
    number += 1;
    const mine = number;
    pending.set(mine, { line, since: Date.now() });
    ask(model, "keep", { line, number: mine, page, at: Date.now() });
    // What was said of the line before must not be read as the answer to this one.
    answer.className = "sagglab-answer";
    answer.replaceChildren(element("p", {}, line === "-" ? "Striking out …" : line + " …"));
    setTimeout(showWaiting, 2000);
    strike.disabled = true;
  }

  function showWaiting() {
    const late = [...pending.values()].filter((one) => one.line !== "" && Date.now() - one.since > 1900);
    waiting.textContent = late.length
      ? "■ Not kept yet: " + late.map((one) => one.line).join(", ")
        + ". The notebook has not answered: it is busy, or its kernel has ended. Write it on paper until it does."
      : "";
  }

  function refuse(lines) {
    answer.className = "sagglab-answer sagglab-refused";
    answer.replaceChildren(...lines.map((text, place) => element("p", {}, (place ? "" : "▲ ") + text)));
  }

  function showAnswer() {
    const told = model.get("answer");
    const mine = told.page === page ? pending.get(told.number) : undefined;
    if (mine) pending.delete(told.number);
    // What was refused stands in the box again, to be mended, or kept by pressing Enter once more.
    if (mine && told.refused && mine.line !== "-" && box.value === "") box.value = mine.line;
    if (told.refused) refuse(told.said);
    else {
      answer.className = "sagglab-answer" + (told.help ? " sagglab-help" : "");
      answer.replaceChildren(...told.said.map((text) => element("p", {}, text)));
    }
    if (told.again) answer.append(element("p", {}, "Press Enter again to keep it all the same."));
    showWaiting();
    showStrike();
  }

  function showStrike() {
    const last = model.get("last");
    strike.textContent = last ? "Strike out the last: " + last : "Strike out the last";
    strike.disabled = !last || pending.size > 0;
  }

  function showReadings() {
    const rows = model.get("readings");
    const used = (cells) => cells.filter((_, place) => rows.some((row) => row[place]));
    const heads = used(["time", "minute", "°C", "°F", "flag"]).map((head) => element("th", { scope: "col" }, head));
    list.replaceChildren(rows.length
      ? element("table", {}, element("caption", {}, "Readings, the last on top"),
          element("thead", {}, element("tr", {}, ...heads)),
          element("tbody", {}, ...rows.map((cells) =>
            element("tr", {}, ...used(cells).map((text) => element("td", {}, text))))))
      : "");
  }

  function showPicture() {
    const { svg, alt } = model.get("picture");
    picture.hidden = !svg && !alt;
    picture.replaceChildren(svg
      ? element("img", { alt, src: "data:image/svg+xml;charset=utf-8," + encodeURIComponent(svg) })
      : alt ? element("p", {}, alt) : "");
  }

  function showWords() {
    wanted.textContent = model.get("wanted");
    cautions.replaceChildren(...model.get("cautions").map((text) => element("li", {}, text)));
    unit.textContent = model.get("unit");
    box.placeholder = model.get("unit") ? "" : "680 C or 1256 F";
    kept.textContent = model.get("kept");
  }

  const watched = { "change:answer": showAnswer, "change:last": showStrike, "change:readings": showReadings,
    "change:picture": showPicture, "change:unit": showWords, "change:kept": showWords };
  for (const [event, shows] of Object.entries(watched)) model.on(event, shows);
  for (const shows of [showWords, showReadings, showPicture, showAnswer]) shows();
  ask(model, "clock", { page, at: Date.now() });
  return () => {
    heard.stop();
    for (const [event, shows] of Object.entries(watched)) model.off(event, shows);
  };
}

export default { render };
