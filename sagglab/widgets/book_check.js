const SIGNS = { fault: "✕ fault", warning: "⚠ warning" };

function render({ model, el }) {
  const heard = answers(model, el);
  const holds = element("p");
  const counted = element("p", { role: "status" });
  const looked = element("p");
  const table = element("select", { "aria-label": "Table", onchange: filter });
  const kind = element("select", { "aria-label": "Kind", onchange: filter },
    option("", "faults and warnings"), option("fault", "faults only"), option("warning", "warnings only"));
  const filters = element("span", { class: "sagglab-row" },
    element("label", {}, "Show ", table), element("label", {}, " ", kind));
  const changed = element("ul", { class: "sagglab-changed" });
  const list = element("ul", { class: "sagglab-problems", "aria-label": "Problems", onkeydown: step });
  const left = element("p");
  const about = element("section", { class: "sagglab-about", "aria-live": "polite", "aria-label": "Where it is" });
  const columns = element("div", { class: "sagglab-check" }, element("div", {}, list, left), about);
  el.append(
    element("h3", {}, "Book check"), holds, counted, looked,
    element("div", { class: "sagglab-row" },
      element("button", { onclick: () => ask(model, "look_again") }, "Look again"), filters),
    ...heard.parts, changed, columns,
  );

  function option(value, text) {
    return element("option", { value }, text);
  }

  function filter() {
    ask(model, "filter", { table: table.value, kind: kind.value });
  }

  /** Arrow keys go from problem to problem; Tab does too. */
  function step(event) {
    const by = { ArrowDown: 1, ArrowUp: -1 }[event.key];
    const buttons = [...list.querySelectorAll("button")];
    const at = buttons.indexOf(event.target);
    if (!by || at < 0) return;
    event.preventDefault();
    event.stopPropagation();
    (buttons[at + by] || event.target).focus();
  }

  function showBook() {
    holds.textContent = model.get("holds");
    const found = model.get("tables").length > 0;
    counted.textContent = (found ? "" : "✓ ") + model.get("counted") + ".";
    looked.textContent = model.get("looked") + ".";
    looked.hidden = !model.get("looked");
    const wanted = model.get("wanted");
    table.replaceChildren(option("", "all tables"), ...model.get("tables").map((name) => option(name, name)));
    table.value = wanted.table || "";
    kind.value = wanted.kind || "";
    filters.hidden = !found;
  }

  function showList() {
    const none = !model.get("tables").length;
    columns.hidden = none;
    const held = list.contains(document.activeElement) ? document.activeElement.dataset.number : null;
    list.replaceChildren(...model.get("listed").map((problem) => element("li", {}, element("button", {
      "data-number": problem.number,
      onclick: () => ask(model, "choose", { number: problem.number }),
    },
      element("span", { class: "sagglab-kind" }, SIGNS[problem.kind]),
      problem.new ? element("span", { class: "sagglab-new" }, "new") : null,
      " " + problem.where + ": " + problem.cause))));
    if (held !== null) (list.querySelector(`[data-number="${held}"]`) || list.querySelector("button"))?.focus();
    const more = model.get("left_out");
    left.textContent = more
      ? `The first ${model.get("listed").length} are shown; ${more} more are not. Mend some and look again, or show one table.`
      : !none && !model.get("listed").length ? "None of that kind there." : "";
    showChosen();
  }

  function showChosen() {
    const chosen = model.get("chosen");
    for (const button of list.querySelectorAll("button")) {
      button.setAttribute("aria-pressed", String(Number(button.dataset.number) === chosen.number));
    }
    about.replaceChildren();
    if (chosen.number === undefined) {
      about.append(element("p", {}, "Choose a problem to see where it is, and how to mend it."));
      return;
    }
    const remedy = chosen.remedy ? chosen.remedy[0].toUpperCase() + chosen.remedy.slice(1) + "." : "";
    about.append(
      element("h4", {}, SIGNS[chosen.kind] + ": " + chosen.where),
      element("p", {}, chosen.cause + "."),
      remedy ? element("p", {}, element("strong", {}, "How to mend it: "), remedy) : "",
      chosen.lacks ? element("p", {}, chosen.lacks + ".") : "",
    );
    if (chosen.rows.length) about.append(...rows(chosen));
  }

  function rows(chosen) {
    const mark = (head) => ({ class: "sagglab-marked", title: "this cell is meant", scope: head ? "col" : null });
    const cell = (text, row, column) => row === chosen.row && column === chosen.column
      ? element("td", mark(false), "▶ " + (text || "(blank)")) : element("td", {}, text);
    const heads = chosen.heads.map((text, column) => chosen.row === 1 && column === chosen.column
      ? element("th", mark(true), "▶ " + text) : element("th", { scope: "col" }, text));
    const body = chosen.rows.map(([number, ...cells]) => element("tr", {},
      element("th", { scope: "row" }, (number === chosen.row ? "▶ " : "") + "row " + number),
      ...cells.map((text, column) => cell(text, number, column))));
    const box = element("div", { class: "sagglab-rows", tabindex: "0", role: "region", "aria-label": chosen.file },
      element("table", {}, element("thead", {}, element("tr", {}, element("th", {}, ""), ...heads)), element("tbody", {}, ...body)));
    requestAnimationFrame(() => {
      const marked = box.querySelector(".sagglab-marked");
      // Its beginning comes into sight, behind the rows' numbers, which stay, and a little of what is before it.
      if (marked) box.scrollLeft = marked.offsetLeft - box.querySelector("th").offsetWidth - 60;
    });
    // No caption of the table: it would be scrolled out of sight with the first column.
    return [element("p", {}, chosen.file + ", as it is written now:"), box];
  }

  function showChanged() {
    changed.replaceChildren(...model.get("changed").map((text) => element("li", {}, text)));
  }

  const watched = { "change:holds": showBook, "change:counted": showBook, "change:looked": showBook,
    "change:tables": showBook,
    "change:wanted": showBook, "change:listed": showList, "change:left_out": showList,
    "change:chosen": showChosen, "change:changed": showChanged };
  for (const [event, shows] of Object.entries(watched)) model.on(event, shows);
  showBook();
  showList();
  showChanged();
  return () => {
    heard.stop();
    for (const [event, shows] of Object.entries(watched)) model.off(event, shows);
  };
}

export default { render };
