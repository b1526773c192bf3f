// Places are in pixels of the photograph; whole numbers are pixels' middles, so that it begins at -0.5.

/** Reach of a handle for a finger, px of the screen. */
const REACH = 12;
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const CORNERS = ["row 1, column 1", "row 1, last column", "last row, last column", "last row, column 1"];
/** Keys that follow one another within this many milliseconds are undone together. */
const ONE_MOVE = 900;

const middleOf = (places) => [0, 1].map((axis) =>
  places.reduce((sum, place) => sum + place[axis], 0) / places.length);

function render({ model, el }) {
  const heard = answers(model, el);
  const now = { corners: [], outline: [], moved: { corners: false, outline: false } };
  let wanted = model.get("chosen"), past = [], active = null, drag = null, lastKey = 0, url = "", drawn = null;

  // --- the parts
  const choose = element("select", { "aria-label": "Photograph", onchange: () => go(Number(choose.value)) });
  const before = element("button", { onclick: () => go(wanted - 1) }, "◀ Previous");
  const after = element("button", { onclick: () => go(wanted + 1) }, "Next ▶");
  const why = element("ul", { class: "sagglab-why" });
  const source = element("p", { class: "sagglab-from" });
  const image = element("image", { preserveAspectRatio: "none" });
  const lines = { outline: line("outline", "Whole pot outline"), corners: line("corners", "Whole target") };
  const rowOne = element("text", { class: "row-one" }, "row 1");
  const marks = { outline: element("g"), corners: element("g") };
  const view = element("svg", { class: "sagglab-view", role: "group", "aria-label":
    "Photograph with target corners and pot outline; Tab goes from place to place, arrow keys move it" },
    image, lines.outline.edge, lines.outline.shape, lines.corners.edge, lines.corners.shape, rowOne,
    marks.corners, marks.outline);
  const magnified = magnifier(model), glass = magnified.glass;
  const add = button("Add a point", addPoint), remove = button("Remove the point", removePoint);
  const larger = button("Larger", () => grow(1.05)), smaller = button("Smaller", () => grow(1 / 1.05));
  const measure = button("Measure", () => ask(model, "measure", given()));
  const save = button("Save in photos", () => ask(model, "save", given()), "sagglab-first");
  const automatic = button("Automatic again", () => ask(model, "automatic"));
  const undo = button("Undo", goBack);
  const measured = measuredTable(model);
  // The buttons stand before the photograph: behind it, Tab would come to them after thirty places.
  const buttons = element("div", { class: "sagglab-row" }, measure, save, undo, automatic,
    element("span", { class: "sagglab-row sagglab-shape" }, add, remove, larger, smaller));
  const review = element("div", {},
    element("div", { class: "sagglab-review" },
      element("div", { class: "sagglab-left" }, view, source, ...measured.parts),
      element("div", { class: "sagglab-right" }, glass, magnified.at)),
    element("p", { class: "sagglab-how" }, "Drag a square to the middle of the target's corner patch, 1 being "
      + "row 1, column 1, and circles to the pot's edge. Tab and arrow keys do the same: 1 pixel, with Shift 10. "
      + "Double-click on the outline adds a point, Delete takes it away. In the magnifier, drag the picture until "
      + "the right place lies under the cross."));
  el.append(element("h3", {}, "Photo review"), element("div", { class: "sagglab-row" }, before, choose, after),
    why, buttons, ...heard.parts, review);

  function button(text, does, kind = "") {
    return element("button", { onclick: does, class: kind }, text);
  }

  function line(kind, label) {
    const shape = element("polygon", { class: `${kind} whole`, tabindex: 0, role: "button", "aria-label":
      `${label}: arrow keys move it`, onpointerdown: (event) => grab(event, kind, null),
      onfocus: () => choosePlace(kind, null), onkeydown: (event) => press(event, kind, null),
      ondblclick: (event) => kind === "outline" && addAt(placeOf(event, view)) });
    return { shape, edge: element("polygon", { class: `${kind} shade` }) };
  }

  // --- drawing
  const scale = () => (model.get("places").size?.[1] ?? 1) / Math.max(1, view.clientWidth);
  const points = (places) => places.map(([x, y]) => `${x},${y}`).join(" ");

  function draw() {
    const unit = scale(), { size, corners_start, outline_start } = model.get("places");
    for (const kind of ["outline", "corners"]) {
      const places = now[kind], starts = kind === "outline" ? outline_start : corners_start;
      const { shape, edge } = lines[kind];
      for (const each of [shape, edge]) {
        each.setAttribute("points", points(places));
        each.style.display = places.length ? "" : "none";
        each.classList.toggle("start", Boolean(starts) && !now.moved[kind]);
      }
      drawMarks(kind, places, unit);
    }
    const [a, b, , d] = now.corners;
    rowOne.style.display = a ? "" : "none";
    if (a) {
      const away = [a[0] - d[0], a[1] - d[1]], long = Math.hypot(...away) || 1;
      rowOne.setAttribute("x", (a[0] + b[0]) / 2 + 16 * unit * away[0] / long);
      rowOne.setAttribute("y", (a[1] + b[1]) / 2 + 16 * unit * away[1] / long + 4 * unit);
      rowOne.setAttribute("font-size", 13 * unit);
    }
    const pot = now.outline.length > 0;
    for (const each of [add, larger, smaller]) each.disabled = !pot;
    remove.disabled = !(active?.kind === "outline" && active.at !== null && now.outline.length > 3);
    save.disabled = !now.moved.corners && !now.moved.outline;
    undo.disabled = !past.length;
    measure.disabled = automatic.disabled = !size;
    drawGlass();
  }

  function drawMarks(kind, places, unit) {
    const group = marks[kind];
    while (group.childNodes.length > places.length) group.lastChild.remove();
    while (group.childNodes.length < places.length) group.append(mark(kind, group.childNodes.length));
    const middle = middleOf(places);
    places.forEach(([x, y], number) => {
      const each = group.childNodes[number], chosen = active?.kind === kind && active.at === number;
      const half = (kind === "corners" ? 6 : 5) * unit * (chosen ? 1.4 : 1);
      const [reach, shape, label] = each.childNodes;
      each.setAttribute("aria-label", `${kind === "corners" ? `Target corner ${number + 1}, ${CORNERS[number]}`
        : `Outline point ${number + 1} of ${places.length}`}, at x ${x.toFixed(1)}, y ${y.toFixed(1)}`);
      each.classList.toggle("chosen", chosen);
      set(reach, { cx: x, cy: y, r: REACH * unit });
      if (kind === "outline") return set(shape, { cx: x, cy: y, r: half });
      set(shape, { x: x - half, y: y - half, width: 2 * half, height: 2 * half });
      const away = [x - middle[0], y - middle[1]], long = Math.hypot(...away) || 1;
      set(label, { x: x + 18 * unit * away[0] / long, y: y + 18 * unit * away[1] / long + 5 * unit,
        "font-size": 15 * unit });
    });
  }

  function mark(kind, number) {
    const listens = {
      onpointerdown: (event) => grab(event, kind, number), onfocus: () => choosePlace(kind, number),
      onkeydown: (event) => press(event, kind, number),
    };
    const reach = element("circle", { class: "reach" });
    if (kind === "outline") {
      return element("g", { class: "mark outline", tabindex: 0, role: "button", ...listens }, reach,
        element("circle", { class: "seen" }));
    }
    return element("g", { class: "mark corners", tabindex: 0, role: "button", ...listens }, reach,
      element("rect", { class: "seen" }), element("text", {}, String(number + 1)));
  }

  function drawGlass() {
    // Of a whole ring its first place stays in sight.
    const place = active && now[active.kind][active.at ?? 0];
    magnified.show(place, place ? named(active) : "", [points(now.outline), points(now.corners)], Boolean(drag));
  }

  function named({ kind, at }) {
    if (at === null) return kind === "corners" ? "Whole target, at its corner 1" : "Whole outline, at its point 1";
    return kind === "corners" ? `Corner ${at + 1} (${CORNERS[at]})` : `Outline point ${at + 1}`;
  }

  // --- moving
  function keep() {
    past.push({ corners: now.corners, outline: now.outline, moved: { ...now.moved } });
    if (past.length > 200) past.shift();
  }

  function goBack() {
    if (past.length) Object.assign(now, past.pop());
    if (active?.at >= now[active?.kind]?.length) active = first();
    draw();
  }

  /** What the magnifier shows before a place was chosen. */
  function first() {
    const kind = ["corners", "outline"].find((each) => now[each].length);
    return kind ? { kind, at: 0 } : null;
  }

  function choosePlace(kind, number) {
    if (active?.kind === kind && active.at === number) return;
    active = { kind, at: number };
    draw();
  }

  function move(kind, number, [dx, dy], from = now[kind]) {
    const [rows, columns] = model.get("places").size;
    const inside = (value, most) => Math.min(most - 1, Math.max(0, Math.round(value * 10) / 10));
    now[kind] = from.map(([x, y], each) => number !== null && each !== number ? [x, y]
      : [inside(x + dx, columns), inside(y + dy, rows)]);
    now.moved[kind] = true;
    draw();
  }

  function press(event, kind, number) {
    if (kind === "outline" && number !== null && ["Delete", "Backspace"].includes(event.key)) {
      event.preventDefault();
      return removePoint();
    }
    if (!STEPS[event.key]) return;
    event.preventDefault();
    if (Date.now() - lastKey > ONE_MOVE || !past.length) keep();
    lastKey = Date.now();
    move(kind, number, STEPS[event.key].map((step) => step * (event.shiftKey ? 10 : 1)));
  }

  function placeOf(event, svg) {
    const place = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [place.x, place.y];
  }

  function grab(event, kind, number) {
    event.preventDefault();
    const held = event.currentTarget;
    held.setPointerCapture(event.pointerId);
    held.focus({ preventScroll: true });
    choosePlace(kind, number);
    begin(event, held, view, 1);
  }

  /** Follow the pointer until it is let go; `way` is -1 where the picture is moved below the place. */
  function begin(event, held, svg, way) {
    const { kind, at: number } = active, from = now[kind], start = placeOf(event, svg);
    const back = svg.getScreenCTM().inverse();
    drag = { moved: false };
    const follow = (moved) => {
      const place = new DOMPoint(moved.clientX, moved.clientY).matrixTransform(back);
      if (!drag.moved) keep();
      drag.moved = true;
      move(kind, number, [way * (place.x - start[0]), way * (place.y - start[1])], from);
    };
    const end = () => {
      held.removeEventListener("pointermove", follow);
      held.removeEventListener("pointerup", end);
      held.removeEventListener("pointercancel", end);
      drag = null;
      lastKey = 0;
      draw();
    };
    held.addEventListener("pointermove", follow);
    held.addEventListener("pointerup", end);
    held.addEventListener("pointercancel", end);
  }

  glass.addEventListener("pointerdown", (event) => {
    if (!active) return;
    event.preventDefault();
    glass.setPointerCapture(event.pointerId);
    begin(event, glass, glass, -1);
  });

  function insert(place, behind) {
    keep();
    now.outline = [...now.outline.slice(0, behind + 1), place, ...now.outline.slice(behind + 1)];
    now.moved.outline = true;
    active = { kind: "outline", at: behind + 1 };
    draw();
    marks.outline.childNodes[behind + 1].focus({ preventScroll: true });
  }

  function addPoint() {
    const behind = active?.kind === "outline" && active.at !== null ? active.at : 0;
    const [[x, y], [u, v]] = [now.outline[behind], now.outline[(behind + 1) % now.outline.length]];
    insert([(x + u) / 2, (y + v) / 2], behind);
  }

  function addAt([x, y]) {
    const far = now.outline.map((a, number) => {
      const b = now.outline[(number + 1) % now.outline.length], side = [b[0] - a[0], b[1] - a[1]];
      const share = ((x - a[0]) * side[0] + (y - a[1]) * side[1]) / (side[0] ** 2 + side[1] ** 2 || 1);
      const along = Math.min(1, Math.max(0, share));
      return Math.hypot(a[0] + along * side[0] - x, a[1] + along * side[1] - y);
    });
    const least = Math.min(...far);
    if (least < REACH * scale()) insert([x, y], far.indexOf(least));
  }

  function removePoint() {
    if (remove.disabled) return;
    keep();
    const gone = active.at;
    now.outline = now.outline.filter((_, number) => number !== gone);
    now.moved.outline = true;
    active = { kind: "outline", at: Math.min(gone, now.outline.length - 1) };
    draw();
    marks.outline.childNodes[active.at].focus({ preventScroll: true });
  }

  function grow(by) {
    const middle = middleOf(now.outline);
    keep();
    now.outline = now.outline.map((place) => place.map((value, axis) =>
      Math.round(10 * (middle[axis] + by * (value - middle[axis]))) / 10));
    now.moved.outline = true;
    draw();
  }

  // --- what the kernel tells
  const given = () => ({ corners: now.moved.corners ? now.corners : null,
    outline: now.moved.outline ? now.outline : null });

  function go(place) {
    if (place < 0 || place >= model.get("photos").length) return;
    wanted = place;
    ask(model, "choose", { place });
  }

  function tellPhotos() {
    const photos = model.get("photos"), chosen = model.get("chosen");
    wanted = chosen;
    choose.replaceChildren(...photos.map((photo, number) => element("option", { value: number },
      `${photo.saved ? "✓ " : photo.why.length ? "▲ " : ""}${photo.name} (${photo.what})`)));
    choose.value = String(chosen);
    before.disabled = chosen === 0;
    after.disabled = chosen === photos.length - 1;
    const { why: reasons, saved } = photos[chosen];
    const look = saved ? "▲ needed a look" : "▲ needs a look";
    // Why a photograph cannot be opened is said below, once.
    const told = model.get("places").size ? reasons : [];
    why.replaceChildren(
      element("li", {}, `${chosen + 1} of ${photos.length}; ` + (reasons.length ? look : "needs no look")),
      ...told.map((reason) => element("li", {}, reason)));
  }

  function tellPicture() {
    if (url) URL.revokeObjectURL(url);
    const picture = model.get("picture");
    url = picture?.byteLength ? jpegUrl(picture) : "";
    for (const each of [image, magnified.far]) each.setAttribute("href", url);
  }

  function tellPlaces() {
    const { size, corners = [], outline = [], corners_from, outline_from } = model.get("places");
    Object.assign(now, { corners, outline, moved: { corners: false, outline: false } });
    past = [];
    // Saved, or searched for again, the place in the magnifier stays; another photograph begins anew.
    if (drawn !== model.get("chosen") || !active || active.at >= now[active.kind].length) active = first();
    drawn = model.get("chosen");
    review.hidden = buttons.hidden = !size;
    tellPhotos();
    if (size) {
      view.setAttribute("viewBox", `-0.5 -0.5 ${size[1]} ${size[0]}`);
      set(image, { x: -0.5, y: -0.5, width: size[1], height: size[0] });
      magnified.begin(size);
    }
    source.textContent = size ? `Target corners (squares): ${corners_from}.`
      + (outline.length ? ` Pot outline (circles): ${outline_from}.` : " No pot is to be found here.") : "";
    draw();
  }

  const events = { "change:photos": tellPhotos, "change:chosen": tellPhotos, "change:picture": tellPicture,
    "change:places": tellPlaces };
  for (const [event, tell] of Object.entries(events)) {
    model.on(event, tell);
    tell();
  }
  const sized = new ResizeObserver(draw);
  sized.observe(view);
  return () => {
    for (const [event, tell] of Object.entries(events)) model.off(event, tell);
    sized.disconnect();
    heard.stop();
    magnified.stop();
    measured.stop();
    if (url) URL.revokeObjectURL(url);
  };
}

export default { render };
