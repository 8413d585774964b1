"use strict";
(() => {
  const find = (id) => document.getElementById(id);
  const entries = JSON.parse(find("data").textContent);
  const items = [...document.querySelectorAll("#sheet li")];
  const viewer = find("viewer"), frame = find("frame"), place = find("place"), edge = find("edge"), wipe = find("wipe");
  const images = { below: find("below"), above: find("above"), top: find("top") };
  let shown = 0, mode = "new", overlay = false, worst = true, blinking = 0, filter = "";

  // Pictures are decoded when they come into sight: two hundred of them must not all be decoded at once.
  const sight = new IntersectionObserver((seen) => {
    for (const one of seen) {
      if (!one.isIntersecting) continue;
      const views = entries[one.target.closest("button").dataset.index].views;
      one.target.src = views.new || views.approved || "";
      sight.unobserve(one.target);
    }
  }, { rootMargin: "300px" });
  for (const image of document.querySelectorAll(".thumb")) sight.observe(image);

  function sift() {
    const words = find("search").value.toLowerCase().split(/\s+/).filter(Boolean);
    let left = 0;
    for (const item of items) {
      const fits = (!filter || item.dataset.status === filter) && words.every((w) => item.dataset.words.includes(w));
      item.hidden = !fits;
      left += fits;
    }
    find("empty").hidden = left > 0;
  }
  find("search").addEventListener("input", sift);
  for (const chip of document.querySelectorAll("[data-filter]")) {
    chip.addEventListener("click", () => {
      filter = chip.dataset.filter;
      for (const other of document.querySelectorAll("[data-filter]")) {
        other.setAttribute("aria-pressed", String(other === chip));
      }
      sift();
    });
  }
  find("light").addEventListener("click", () => {
    const root = document.documentElement;
    const dark = root.dataset.light ? root.dataset.light === "no" : matchMedia("(prefers-color-scheme: dark)").matches;
    root.dataset.light = dark ? "yes" : "no";
  });

  const offered = () => items.filter((item) => !item.hidden).map((item) => Number(item.querySelector("button").dataset.index));
  function step(by) {
    const order = offered();
    if (order.length) show(order[(order.indexOf(shown) + by + order.length) % order.length]);
  }

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
    const side = find("side");
    side.replaceChildren();
    list("What the plan says", entry.plan, side);
    list("What the pixels say", entry.reasons, side);
    list("Changed", entry.changes, side);
    if (!side.children.length) element("p", entry.status === "match" ? "As approved." : entry.size.join(" × ") + " px", side);
    const names = Object.keys(entry.figures);
    if (names.length) {
      element("h2", "Figures", side);
      const table = element("table", undefined, side);
      for (const name of names) {
        const row = element("tr", undefined, table);
        element("td", name.replaceAll("_", " "), row);
        element("td", String(entry.figures[name]), row);
      }
    }
  }

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
    fit();
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
    wipe.hidden = edge.hidden = mode !== "wipe";
    images.above.style.clipPath = "";
    frame.classList.toggle("wiped", mode === "wipe");
    frame.classList.toggle("overlaid", overlay && Boolean(views.overlay));
    const before = viewer.dataset.before;
    caption("first", pair ? before : "");
    caption("second", mode === "wipe" ? "New" : "");
    if (mode === "wipe") slide();
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
  function slide() {
    const share = wipe.value / 10;
    images.above.style.clipPath = `inset(0 ${100 - share}% 0 0)`;
    edge.style.left = share + "%";
  }
  // The frame takes the shape of the picture and all the room that the stage has.
  function fit() {
    const stage = frame.parentElement, [width, height] = entries[shown].size;
    const style = getComputedStyle(stage);
    const room = [stage.clientWidth - 2 * parseFloat(style.paddingLeft), stage.clientHeight - 2 * parseFloat(style.paddingTop)];
    const ratio = Math.min(room[0] / width, room[1] / height);
    frame.style.width = width * ratio + "px";
    frame.style.height = height * ratio + "px";
  }
  addEventListener("resize", () => { if (viewer.open) fit(); });
  wipe.addEventListener("input", slide);
  // The wipe also follows a finger or a pressed button on the picture itself.
  function drag(event) {
    if (mode !== "wipe" || !event.buttons) return;
    const { left, width } = frame.getBoundingClientRect();
    wipe.value = 1000 * (event.clientX - left) / width;
    slide();
  }
  frame.addEventListener("pointerdown", (event) => {
    if (mode !== "wipe") return;
    event.preventDefault();
    frame.setPointerCapture(event.pointerId);
    drag(event);
  });
  frame.addEventListener("pointermove", drag);

  function choose(wanted) {
    if (!has(entries[shown], wanted)) return;
    mode = wanted;
    draw();
  }
  find("sheet").addEventListener("click", (event) => {
    const card = event.target.closest(".card");
    if (card) show(Number(card.dataset.index));
  });
  for (const button of document.querySelectorAll("[data-mode]")) button.addEventListener("click", () => choose(button.dataset.mode));
  const flip = { overlay: () => { overlay = !overlay; draw(); }, worst: () => { worst = !worst; draw(); } };
  for (const id of ["overlay", "worst"]) if (find(id)) find(id).addEventListener("click", flip[id]);
  find("back").addEventListener("click", () => step(-1));
  find("on").addEventListener("click", () => step(1));
  find("close").addEventListener("click", () => viewer.close());
  viewer.addEventListener("close", () => {
    clearInterval(blinking);
    const card = document.querySelector(`.card[data-index="${shown}"]`);
    if (card) card.focus();
  });

  const modes = { 1: "new", 2: "approved", 3: "wipe", 4: "blink", 5: "difference" };
  addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    if (!viewer.open) {
      if (event.key === "/" && event.target.id !== "search") {
        event.preventDefault();
        find("search").focus();
      }
      return;
    }
    const onWipe = event.target === wipe;
    if (event.key === "ArrowLeft" && !onWipe) step(-1);
    else if (event.key === "ArrowRight" && !onWipe) step(1);
    else if (modes[event.key]) choose(modes[event.key]);
    else if (event.key.toLowerCase() === "o" && !(find("overlay") || { disabled: true }).disabled) flip.overlay();
    else if (event.key.toLowerCase() === "w" && !(find("worst") || { disabled: true }).disabled) flip.worst();
  });
})();
