/** Make the table of what a photograph was measured as, before and with the places that are shown. */
function measuredTable(model) {
  const numbers = element("table", { class: "sagglab-measured" });
  const told = element("div", { class: "sagglab-told" });

  function show() {
    const rows = model.get("measured");
    numbers.replaceChildren(
      element("tr", {}, ...["", "colour", "L*", "a*", "b*", "target ΔE00"].map((head) =>
        element("th", { scope: "col" }, head))),
      ...rows.map((row) => {
        const patch = element("span", { class: `sagglab-swatch${row.outside ? " cut" : ""}`, title: row.swatch });
        if (row.swatch) patch.style.background = row.swatch;
        return element("tr", {}, element("th", { scope: "row" }, row.of),
          element("td", {}, row.swatch ? patch : "none"), ...row.numbers.map((text) => element("td", {}, text)));
      }));
    // What was wrong before stands above already, as the reason to look.
    told.replaceChildren(...rows.map(({ of, flags, problems }, number) => [of, flags && `flags: ${flags}`,
      number > 0 && problems]).map(([of, ...what]) => [of, what.filter(Boolean).join("; ")])
      .filter(([, what]) => what).map(([of, what]) => element("p", {}, `${of}: ${what}`)));
  }

  model.on("change:measured", show);
  show();
  return { parts: [numbers, told], stop: () => model.off("change:measured", show) };
}
