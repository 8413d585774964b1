// One picture large: what was approved, what is new, both against each other, and what is said about it.
function makeViewer(entries, order) {
  const find = (id) => document.getElementById(id);
  const viewer = find("viewer"), frame = find("frame"), field = find("field"), place = find("place"), edge = find("edge");
  const wipe = find("wipe"), images = { below: find("below"), above: find("above"), top: find("top") };
  let shown = 0, mode = "new", overlay = false, worst = true, blinking = 0;

  const stage = makeStage(field, frame, ({ zoom, whole, movable }) => {
    find("scale").textContent = Math.round(100 * zoom) + " %";
    find("whole").setAttribute("aria-pressed", String(whole));
    find("actual").setAttribute("aria-pressed", String(!whole && zoom === 1));
    field.classList.toggle("movable", movable);
    slide();
  });

  function element(kind, text, parent) {
    const made = document.createElement(kind);
    if (text !== undefined) made.textContent = text;
    parent.append(made);
    return made;
  }
  function list(heading, lines, parent) {
    if (!lines.length) return;
    element("h2", heading, parent);
    const ul = element("ul", undefined, parent);
    for (const line of lines) element("li", line, ul);
  }
  function tell(entry) {
    const told = find("told");
    told.replaceChildren();
    list("What the plan says", entry.plan, told);
    list("What the pixels say", entry.reasons, told);
    list("Changed", entry.changes, told);
    if (!told.children.length && entry.status === "match") element("p", "As approved.", told);
    const size = element("p", entry.known ? entry.size.join(" × ") + " px" : "", told);
    size.className = "hint";
    size.id = "size";
    if (entry.figures.length) {
      element("h2", "Figures", told);
      const table = element("table", undefined, told);
      for (const [name, value] of entry.figures) {
        const row = element("tr", undefined, table);
        element("td", name, row);
        element("td", value, row);
      }
    }
  }
  // Pictures on the page are often smaller than the files they stand for; then fine detail is not to be judged here.
  images.below.addEventListener("load", () => {
    const { known, size } = entries[shown], { naturalWidth, naturalHeight } = images.below;
    if (known && naturalWidth < size[0]) {
      find("size").textContent = `${size.join(" × ")} px, shown here by a picture of ${naturalWidth} × ${naturalHeight} px`;
    }
    stage.lay();
  });

  function show(index) {
    shown = index;
    const entry = entries[index];
    find("viewed").textContent = entry.name;
    find("verdict").textContent = entry.status || "";
    find("verdict").dataset.status = entry.status || "";
    tell(entry);
    for (const button of document.querySelectorAll("[data-mode]")) button.disabled = !has(entry, button.dataset.mode);
    if (!has(entry, mode)) mode = entry.views.new ? "new" : "approved";
    if (find("overlay")) find("overlay").disabled = !entry.views.overlay;
    if (find("worst")) find("worst").disabled = !entry.box;
    draw();
    if (!viewer.open) {
      viewer.showModal();
      viewer.focus();
    }
    stage.show(entry.size);
    find("side").scrollTop = 0;
  }
  function has(entry, wanted) {
    const { approved, new: made, difference } = entry.views;
    return { new: made, approved, difference, wipe: approved && made, blink: approved && made }[wanted];
  }

  function draw() {
    const entry = entries[shown], views = entry.views;
    clearInterval(blinking);
    const pair = mode === "wipe" || mode === "blink";
    images.below.src = views[pair ? "new" : mode] || "";
    images.above.hidden = !pair;
    if (pair) images.above.src = views.approved;
    images.above.style.clipPath = "";
    edge.hidden = mode !== "wipe";
    if (wipe) wipe.classList.toggle("idle", mode !== "wipe");
    if (mode !== "wipe" && document.activeElement === wipe) viewer.focus();
    if (wipe) wipe.disabled = mode !== "wipe";
    field.classList.toggle("wiped", mode === "wipe");
    field.classList.toggle("overlaid", overlay && Boolean(views.overlay));
    const before = viewer.dataset.before;
    caption("first", pair ? before : "");
    caption("second", mode === "wipe" ? "New" : "");
    slide();
    if (mode === "blink") {
      blinking = setInterval(() => {
        images.above.hidden = !images.above.hidden;
        caption("first", images.above.hidden ? "New" : before);
      }, 600);
    }
    images.top.hidden = !(overlay && views.overlay);
    if (!images.top.hidden) images.top.src = views.overlay;
    place.hidden = !(worst && entry.box);
    if (!place.hidden) {
      const [left, top, right, bottom] = entry.box, [width, height] = entry.size;
      Object.assign(place.style, { left: 100 * left / width + "%", top: 100 * top / height + "%",
        width: 100 * (right - left) / width + "%", height: 100 * (bottom - top) / height + "%" });
    }
    for (const button of document.querySelectorAll("[data-mode]")) {
      button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
    }
    if (find("overlay")) find("overlay").setAttribute("aria-pressed", String(overlay));
    if (find("worst")) find("worst").setAttribute("aria-pressed", String(worst));
  }
  function caption(id, text) {
    find(id).textContent = text;
    find(id).hidden = !text;
  }
  // The wipe stands at a share of what is in sight, so that it stays in reach however large the picture is.
  function slide() {
    if (mode !== "wipe") return;
    const [from, to] = stage.inSight(), share = from + (to - from) * wipe.value / 1000;
    images.above.style.clipPath = `inset(0 ${100 - 100 * share}% 0 0)`;
    edge.style.left = 100 * share + "%";
  }
  followPointers(field, stage, {
    takes: (x, reach) => mode === "wipe"
      && (!field.classList.contains("movable") || Math.abs(x - edge.getBoundingClientRect().left) < reach),
    moveTo(x) {
      const [from, to] = stage.inSight(), { left, width } = frame.getBoundingClientRect();
      wipe.value = 1000 * ((x - left) / width - from) / (to - from);
      slide();
    },
  });
  if (wipe) wipe.addEventListener("input", slide);
  addEventListener("resize", () => { if (viewer.open) stage.lay(); });

  function choose(wanted) {
    if (!has(entries[shown], wanted)) return;
    mode = wanted;
    draw();
  }
  function step(by) {
    const all = order();
    if (all.length) show(all[(all.indexOf(shown) + by + all.length) % all.length]);
  }
  // 1:1 goes to where something differs, if that is marked.
  function actual(at) {
    const { box, size } = entries[shown];
    stage.zoomTo(1, at);
    if (!at && worst && box) stage.goTo([0, 1].map((axis) => (box[axis] + box[axis + 2]) / 2 / size[axis]));
  }
  const whole = () => stage.zoomTo(null);
  field.addEventListener("dblclick", (event) => {
    if (find("whole").getAttribute("aria-pressed") === "true") actual([event.clientX, event.clientY]);
    else whole();
  });

  const flip = { overlay: () => { overlay = !overlay; draw(); }, worst: () => { worst = !worst; draw(); } };
  const pressed = {
    whole, actual: () => actual(), larger: stage.larger, smaller: stage.smaller, back: () => step(-1), on: () => step(1),
    close: () => viewer.close(), ...flip,
  };
  for (const id of Object.keys(pressed)) if (find(id)) find(id).addEventListener("click", pressed[id]);
  for (const button of document.querySelectorAll("[data-mode]")) button.addEventListener("click", () => choose(button.dataset.mode));
  viewer.addEventListener("close", () => {
    clearInterval(blinking);
    const card = document.querySelector(`.card[data-index="${shown}"]`);
    if (card) card.focus();
  });

  const modes = { 1: "new", 2: "approved", 3: "wipe", 4: "blink", 5: "difference" };
  const letters = { o: "overlay", w: "worst", z: "actual", 0: "whole", "+": "larger", "=": "larger", "-": "smaller", "−": "smaller" };
  const along = { ArrowLeft: [1, 0], ArrowRight: [-1, 0], ArrowUp: [0, 1], ArrowDown: [0, -1] };
  addEventListener("keydown", (event) => {
    if (!viewer.open || event.ctrlKey || event.metaKey || event.altKey) return;
    if (along[event.key] && event.shiftKey) {
      event.preventDefault();
      const [right, down] = along[event.key];
      stage.moveBy(right * field.clientWidth / 8, down * field.clientHeight / 8);
    } else if (event.key === "ArrowLeft" || event.key === "ArrowRight") {
      if (event.target !== wipe) step(event.key === "ArrowLeft" ? -1 : 1);
    } else if (modes[event.key]) choose(modes[event.key]);
    else {
      const id = letters[event.key.toLowerCase()];
      if (id && find(id) && !find(id).disabled) pressed[id]();
    }
  });
  return show;
}
