/** Side of the magnifier, px of the screen, and what it shows, px of the photograph. */
const GLASS = 300, GLASS_SHOWS = 100;

/** Make the magnifier of a photograph: `glass`, in which the photograph as the page has it is `far`, and `at`, the
 *  words that say which place it shows. */
function magnifier(model) {
  const far = element("image", { preserveAspectRatio: "none" });
  const near = element("image", { preserveAspectRatio: "none", class: "near" });
  const lines = ["outline", "corners"].map((kind) => element("polygon", { class: kind }));
  const cross = element("path", { class: "cross" });
  const glass = element("svg", { class: "sagglab-glass", "aria-hidden": "true", width: GLASS, height: GLASS },
    far, near, ...lines, cross);
  const at = element("p", { class: "sagglab-at" });
  let nearUrl = "", asked = "";

  /** Begin with another photograph, or with other places in it. */
  function begin(size) {
    asked = "";
    set(far, { x: -0.5, y: -0.5, width: size[1], height: size[0] });
  }

  /** Show what lies around a place, and the shapes there, as points of polygons; nothing without a place. */
  function show(place, name, shapes, dragging) {
    glass.classList.toggle("empty", !place);
    if (!place) {
      at.textContent = "Choose a place to see it enlarged.";
      return;
    }
    const [x, y] = place, half = GLASS_SHOWS / 2;
    glass.setAttribute("viewBox", `${x - half} ${y - half} ${GLASS_SHOWS} ${GLASS_SHOWS}`);
    lines.forEach((line, number) => line.setAttribute("points", shapes[number]));
    cross.setAttribute("d", `M${x - 9} ${y}H${x - 1}M${x + 1} ${y}H${x + 9}M${x} ${y - 9}V${y - 1}`
      + `M${x} ${y + 1}V${y + 9}`);
    at.textContent = `${name}: x ${x.toFixed(1)}, y ${y.toFixed(1)} of the photograph's pixels.`;
    if (!dragging) askNear(x, y);
  }

  /** The photograph's own pixels come from the kernel when they are not at hand: dragging waits for none. */
  function askNear(x, y) {
    const had = model.get("near"), half = GLASS_SHOWS / 2;
    const there = had?.picture && x - half >= had.left - 1 && y - half >= had.top - 1
      && x + half <= had.left + had.size[1] + 1 && y + half <= had.top + had.size[0] + 1;
    if (there) return;
    const key = `${Math.round(x)} ${Math.round(y)}`;
    if (asked === key) return;
    asked = key;
    model.send({ ask: "near", values: { x, y } });
  }

  function tellNear() {
    if (nearUrl) URL.revokeObjectURL(nearUrl);
    const told = model.get("near");
    nearUrl = told?.picture ? jpegUrl(told.picture) : "";
    near.setAttribute("href", nearUrl);
    if (nearUrl) set(near, { x: told.left - 0.5, y: told.top - 0.5, width: told.size[1], height: told.size[0] });
  }

  function stop() {
    model.off("change:near", tellNear);
    if (nearUrl) URL.revokeObjectURL(nearUrl);
  }

  model.on("change:near", tellNear);
  tellNear();
  return { glass, far, at, begin, show, stop };
}

function jpegUrl(view) {
  return URL.createObjectURL(new Blob([view], { type: "image/jpeg" }));
}
