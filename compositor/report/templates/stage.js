// Where the picture lies in its field and how large: the whole of it, or at a zoom that a wheel, fingers, buttons and
// keys change. Zoom is screen pixels per pixel of the picture; what lies in the middle stays there.
function makeStage(field, frame, laid) {
  const largest = 16;
  let size = [3, 2], zoom = null, middle = [0.5, 0.5];

  const room = () => [field.clientWidth, field.clientHeight];
  // A small picture is not enlarged unless somebody asks.
  const wholeZoom = () => Math.min(1, devicePixelRatio * Math.min(room()[0] / size[0], room()[1] / size[1]));
  const now = () => (zoom === null ? wholeZoom() : zoom);

  function lay() {
    const scale = now() / devicePixelRatio;
    const box = [0, 1].map((axis) => {
      const length = size[axis] * scale, span = room()[axis];
      let start = span / 2 - middle[axis] * length;
      start = length <= span ? (span - length) / 2 : Math.min(0, Math.max(span - length, start));
      middle[axis] = (span / 2 - start) / length;
      return [start, length];
    });
    Object.assign(frame.style, { left: box[0][0] + "px", top: box[1][0] + "px", width: box[0][1] + "px", height: box[1][1] + "px" });
    for (const image of frame.querySelectorAll("img")) {
      // From twice its own size on a picture shows its pixels instead of a blur.
      image.classList.toggle("coarse", box[0][1] * devicePixelRatio >= 2 * image.naturalWidth);
    }
    laid({ zoom: now(), whole: zoom === null, movable: box.some(([, length], axis) => length > room()[axis] + 1) });
  }
  function zoomTo(wanted, at) {
    const inside = field.getBoundingClientRect(), around = frame.getBoundingClientRect();
    const point = at ? [at[0] - inside.left, at[1] - inside.top] : room().map((span) => span / 2);
    const share = [(point[0] + inside.left - around.left) / around.width, (point[1] + inside.top - around.top) / around.height];
    zoom = wanted === null ? null : Math.min(largest, Math.max(Math.min(wholeZoom(), 1), wanted));
    const scale = now() / devicePixelRatio;
    middle = [0, 1].map((axis) => share[axis] + (room()[axis] / 2 - point[axis]) / (size[axis] * scale));
    lay();
  }
  const power = (round, by) => 2 ** (round(Math.log2(now()) + by));
  field.addEventListener("wheel", (event) => {
    event.preventDefault();
    zoomTo(now() * Math.exp(-event.deltaY * (event.deltaMode ? 0.05 : 0.0015)), [event.clientX, event.clientY]);
  }, { passive: false });
  return {
    lay,
    zoomTo,
    now,
    show(shown) {
      if (shown[0] !== size[0] || shown[1] !== size[1]) middle = [0.5, 0.5];
      size = shown;
      lay();
    },
    goTo(share) {
      middle = share;
      lay();
    },
    larger: () => zoomTo(power(Math.floor, 1.01)),
    smaller() {
      const wanted = power(Math.ceil, -1.01);
      zoomTo(wanted <= wholeZoom() ? null : wanted);
    },
    moveBy(right, down) {
      middle = [middle[0] - right / frame.clientWidth, middle[1] - down / frame.clientHeight];
      lay();
    },
    // The part of the picture's width that is in sight, as shares of it.
    inSight() {
      const left = frame.offsetLeft, width = frame.clientWidth;
      return [Math.max(0, -left / width), Math.min(1, (room()[0] - left) / width)];
    },
  };
}

// Fingers and the mouse: one moves the picture, unless the wipe takes it; two enlarge.
function followPointers(field, stage, wipe) {
  const down = new Map();
  let wiping = false, pinch = null;
  const spread = () => {
    const [one, other] = [...down.values()];
    return { gap: Math.hypot(one[0] - other[0], one[1] - other[1]) || 1, at: [(one[0] + other[0]) / 2, (one[1] + other[1]) / 2] };
  };
  field.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    event.preventDefault();
    field.setPointerCapture(event.pointerId);
    down.set(event.pointerId, [event.clientX, event.clientY]);
    wiping = down.size === 1 && wipe.takes(event.clientX, event.pointerType === "mouse" ? 12 : 32);
    if (wiping) wipe.moveTo(event.clientX);
    pinch = down.size === 2 ? { ...spread(), zoom: stage.now() } : null;
  });
  field.addEventListener("pointermove", (event) => {
    const before = down.get(event.pointerId);
    if (!before) return;
    down.set(event.pointerId, [event.clientX, event.clientY]);
    if (pinch) {
      const { gap, at } = spread();
      stage.zoomTo(pinch.zoom * gap / pinch.gap, at);
    } else if (wiping) wipe.moveTo(event.clientX);
    else stage.moveBy(event.clientX - before[0], event.clientY - before[1]);
  });
  for (const end of ["pointerup", "pointercancel"]) {
    field.addEventListener(end, (event) => {
      down.delete(event.pointerId);
      pinch = null;
      wiping = false;
    });
  }
}
