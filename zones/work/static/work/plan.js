// A floor plan that can be moved, zoomed and worked on. The page works without this file.

const MOST = 16; // how far one can zoom in
const STEP_PX = 10; // an arrow key moves a mark this far on the screen
const SLOP_PX = 6; // less is a tap that trembled

/** Keep a view inside the whole picture and not too near. A view is {x, y, w, h} in pixels of the picture. */
export function clamped(view, whole) {
  const w = Math.min(whole.w, Math.max(whole.w / MOST, view.w));
  const h = (w * whole.h) / whole.w;
  const x = Math.min(Math.max(view.x, whole.x), whole.x + whole.w - w);
  const y = Math.min(Math.max(view.y, whole.y), whole.y + whole.h - h);
  return { x, y, w, h };
}

/** Zoom by a factor; the point of the picture stays where it is on the screen. */
export function zoomed(view, at, factor, whole) {
  const w = Math.min(whole.w, Math.max(whole.w / MOST, view.w / factor));
  const by = w / view.w;
  return clamped({ x: at.x - (at.x - view.x) * by, y: at.y - (at.y - view.y) * by, w, h: view.h * by }, whole);
}

/** Two fingers hold two points of the picture: `held` are those points, `now` what lies under the fingers in this view. */
export function pinched(view, held, now, whole) {
  const apart = (pair) => Math.hypot(pair[0].x - pair[1].x, pair[0].y - pair[1].y) || 1;
  const middle = (pair) => ({ x: (pair[0].x + pair[1].x) / 2, y: (pair[0].y + pair[1].y) / 2 });
  const w = Math.min(whole.w, Math.max(whole.w / MOST, (view.w * apart(held)) / apart(now)));
  const by = w / view.w;
  const [from, to] = [middle(held), middle(now)];
  return clamped({ x: from.x - (to.x - view.x) * by, y: from.y - (to.y - view.y) * by, w, h: view.h * by }, whole);
}

/** Position on the floor in metres, to the east and north of the origin. */
export function toMetres(scale, point) {
  return { x: (point.x - scale.originX) * scale.metres, y: (scale.originY - point.y) * scale.metres };
}

/** The mark nearest to a point, or null: near each other, the hit areas overlap. */
export function nearest(marks, point) {
  let best = null;
  for (const mark of marks) {
    const apart = Math.hypot(mark.x - point.x, mark.y - point.y);
    if (!best || apart < best.apart) best = { mark, apart };
  }
  return best?.mark ?? null;
}

function speak(words) {
  const live = document.getElementById("live");
  if (live) live.textContent = words;
}

function placeOf(link) {
  const [, x, y] = /translate\(([-\d.e]+) ([-\d.e]+)\)/.exec(link.getAttribute("transform"));
  return { x: Number(x), y: Number(y) };
}

function start(frame) {
  const svg = frame.querySelector("svg.floor-plan");
  const told = frame.querySelector("[data-told]");
  const box = svg.viewBox.baseVal;
  const whole = { x: 0, y: 0, w: box.width, h: box.height };
  const scale = { metres: Number(svg.dataset.mPerPx), originX: Number(svg.dataset.originX), originY: Number(svg.dataset.originY) };
  const links = [...svg.querySelectorAll("[data-marks] > a")];
  const fingers = new Map();
  let view = { ...whole };
  let mode = "look";
  let chosen = null; // the unplaced unit that the next tap places
  let drag = null;
  let held = null;
  let hasMoved = false;
  const points = []; // taps of the scale

  const onPicture = (event) => {
    const at = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return { x: at.x, y: at.y };
  };
  const perScreen = () => 1 / svg.getScreenCTM().a;
  const shown = () => links.filter((link) => link.getAttribute("display") !== "none");

  function put(link, at) {
    link.setAttribute("transform", `translate(${at.x.toFixed(1)} ${at.y.toFixed(1)}) scale(${perScreen().toFixed(4)})`);
  }
  function look(next) {
    view = next;
    svg.setAttribute("viewBox", `${view.x} ${view.y} ${view.w} ${view.h}`);
    for (const link of links) put(link, placeOf(link));
    for (const line of svg.querySelectorAll("[data-walk] > *")) line.setAttribute("stroke-width", 2 * perScreen());
    svg.querySelector("[data-walk] > polyline")?.setAttribute("stroke-dasharray", `${6 * perScreen()} ${3 * perScreen()}`);
    svg.querySelector("[data-walk] > circle")?.setAttribute("r", 11 * perScreen());
  }
  function say(words, isWrong = false) {
    told.textContent = words;
    told.classList.toggle("wrong", isWrong);
  }

  // --- saving ---------------------------------------------------------------
  async function save(link, at, before) {
    const place = toMetres(scale, at);
    const tag = link.getAttribute("aria-label").split(",")[0];
    say(`Saving ${tag} …`);
    const token = JSON.parse(document.body.getAttribute("hx-headers"))["X-CSRFToken"];
    const row = { unit_id: Number(link.dataset.unit), x_m: place.x, y_m: place.y, version: Number(link.dataset.version) };
    let answer;
    let problem = "The position could not be saved: no answer. Look at the connection and try again.";
    try {
      answer = await fetch(frame.dataset.save, {
        method: "PUT",
        headers: { "Content-Type": "application/json", "X-CSRFToken": token },
        body: JSON.stringify({ places: [row] }),
      });
      const body = await answer.json();
      if (answer.ok) link.dataset.version = body[0].version;
      else problem = Object.values(body.fields ?? {}).join(" ") || body.message || problem;
    } catch { answer = null; }
    if (answer?.ok) {
      say(`${tag} is saved.`);
      takeOffList(link);
      return;
    }
    if (before) put(link, before);
    else link.setAttribute("display", "none");
    say(problem.startsWith(tag) ? problem : `${tag}: ${problem}`, true);
  }
  function takeOffList(link) {
    document.querySelector(`[data-waiting="${link.dataset.unit}"]`)?.remove();
    const left = document.querySelector("[data-left]");
    if (left) left.textContent = `${document.querySelectorAll("[data-waiting]").length} of ${links.length}`;
  }

  // --- modes ----------------------------------------------------------------
  const WORDS = {
    look: "",
    place: "Drag a unit, or choose one that is not placed and then tap the plan. With the keyboard: go to a unit and move it with the arrow keys.",
    scale: "Tap the first of two points that you know the distance between.",
    origin: "Tap the point from which positions count, usually the south-west corner of the floor.",
  };
  function setMode(next) {
    mode = mode === next ? "look" : next;
    frame.dataset.at = mode;
    points.length = 0;
    choose(null);
    for (const button of frame.querySelectorAll("[data-mode]")) button.setAttribute("aria-pressed", String(button.dataset.mode === mode));
    for (const button of document.querySelectorAll("[data-place]")) button.hidden = mode !== "place";
    say(WORDS[mode]);
  }
  function choose(button) {
    chosen = button && links.find((link) => link.dataset.unit === button.dataset.place);
    frame.classList.toggle("is-choosing", Boolean(chosen));
    for (const other of document.querySelectorAll("[data-place]")) other.setAttribute("aria-pressed", String(other === button));
    if (!chosen) return;
    say(`Tap the plan where ${button.textContent} hangs.`);
    frame.scrollIntoView({ block: "nearest" });
  }
  function fill(form, names, at) {
    const [x, y] = names.map((name) => form.elements[name]);
    x.value = at.x.toFixed(1);
    y.value = at.y.toFixed(1);
  }
  function spot(at) {
    const ring = document.createElementNS(svg.namespaceURI, "circle");
    for (const [name, value] of Object.entries({ cx: at.x, cy: at.y, r: 8 * perScreen(), fill: "none", stroke: "#a8321a", "stroke-width": 3 * perScreen() })) ring.setAttribute(name, value);
    svg.append(ring);
  }
  function tap(at) {
    if (mode === "place" && chosen) {
      const link = chosen;
      link.removeAttribute("display");
      put(link, at);
      choose(null);
      save(link, at, null);
    } else if (mode === "scale") {
      const form = document.querySelector("form[data-scale]");
      points.push(at);
      spot(at);
      fill(form, points.length === 1 ? ["first_x_px", "first_y_px"] : ["second_x_px", "second_y_px"], at);
      if (points.length === 1) return say("Tap the second point.");
      setMode("scale");
      say("Now type the distance between the two points and set the scale.");
      form.elements.distance_m.focus();
    } else if (mode === "origin") {
      const form = document.querySelector("form[data-origin]");
      spot(at);
      fill(form, ["origin_x_px", "origin_y_px"], at);
      setMode("origin");
      say("Now set the origin.");
      form.querySelector("button").focus();
    }
  }

  // --- pointers: one finger moves, two zoom -----------------------------------
  svg.addEventListener("pointerdown", (event) => {
    if (event.button) return;
    const at = onPicture(event);
    fingers.set(event.pointerId, { event, start: { x: event.clientX, y: event.clientY } });
    if (fingers.size === 1) hasMoved = false;
    if (fingers.size === 2) {
      if (drag) put(drag.link, drag.before);
      drag = null;
      held = [...fingers.values()].map((finger) => onPicture(finger.event));
    } else if (mode === "place" && !chosen && event.target.closest("a")) {
      const link = nearest(shown().map((one) => ({ ...placeOf(one), link: one })), at).link;
      drag = { link, before: placeOf(link), from: at };
    } else held = [at];
  });
  addEventListener("pointermove", (event) => {
    const finger = fingers.get(event.pointerId);
    if (!finger) return;
    finger.event = event;
    if (Math.hypot(event.clientX - finger.start.x, event.clientY - finger.start.y) > SLOP_PX || fingers.size > 1) hasMoved = true;
    if (!hasMoved) return;
    if (drag) {
      const at = onPicture(event);
      put(drag.link, { x: drag.before.x + at.x - drag.from.x, y: drag.before.y + at.y - drag.from.y });
      return;
    }
    const now = [...fingers.values()].map((one) => onPicture(one.event));
    if (now.length === 2) look(pinched(view, held, now, whole));
    else if (held) look(clamped({ ...view, x: view.x + held[0].x - now[0].x, y: view.y + held[0].y - now[0].y }, whole));
  });
  function lift(event) {
    if (!fingers.delete(event.pointerId)) return;
    if (fingers.size) {
      // One finger of two stays: it holds what lies under it from here on.
      held = [...fingers.values()].map((finger) => onPicture(finger.event));
      return;
    }
    const { link, before } = drag ?? {};
    drag = null;
    held = null;
    if (link && event.type === "pointercancel") put(link, before);
    else if (link && hasMoved) save(link, placeOf(link), before);
    else if (!link && !hasMoved && event.type === "pointerup") tap(onPicture(event));
  }
  addEventListener("pointerup", lift);
  addEventListener("pointercancel", lift);
  svg.addEventListener("dragstart", (event) => event.preventDefault());
  svg.addEventListener("click", (event) => {
    if (event.detail === 0 || event.ctrlKey || event.metaKey || event.shiftKey) return; // the keyboard, or another tab
    if (!event.target.closest("a")) return;
    event.preventDefault();
    if (hasMoved || mode !== "look") return;
    const at = onPicture(event);
    location.assign(nearest(shown().map((one) => ({ ...placeOf(one), link: one })), at).link.getAttribute("href"));
  });
  svg.addEventListener("wheel", (event) => {
    event.preventDefault();
    look(zoomed(view, onPicture(event), event.deltaY < 0 ? 1.2 : 1 / 1.2, whole));
  }, { passive: false });

  // --- keyboard -----------------------------------------------------------------
  const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  let moving = null;
  svg.addEventListener("keydown", (event) => {
    const link = event.target.closest("[data-marks] > a");
    const arrow = ARROWS[event.key];
    if (!link || !arrow || mode !== "place") return;
    event.preventDefault();
    const at = placeOf(link);
    const by = (event.shiftKey ? 1 : STEP_PX) * perScreen();
    if (moving?.link !== link) settle();
    moving ??= { link, before: at };
    clearTimeout(moving.timer);
    put(link, { x: at.x + arrow[0] * by, y: at.y + arrow[1] * by });
    // One request for a run of key strokes.
    moving.timer = setTimeout(settle, 700);
  });
  function settle() {
    if (!moving) return;
    const { link, before, timer } = moving;
    clearTimeout(timer);
    moving = null;
    save(link, placeOf(link), before);
  }
  svg.addEventListener("focusout", settle);
  svg.addEventListener("focusin", (event) => {
    const link = event.target.closest("[data-marks] > a");
    if (!link) return;
    const at = placeOf(link);
    const isSeen = at.x > view.x && at.x < view.x + view.w && at.y > view.y && at.y < view.y + view.h;
    // Whoever goes from unit to unit with the keyboard sees where the focus is.
    if (!isSeen) look(clamped({ ...view, x: at.x - view.w / 2, y: at.y - view.h / 2 }, whole));
  });

  // --- tools ----------------------------------------------------------------------
  frame.addEventListener("click", (event) => {
    const button = event.target.closest("button");
    if (!button) return;
    const middle = { x: view.x + view.w / 2, y: view.y + view.h / 2 };
    if (button.dataset.zoom) look(zoomed(view, middle, Number(button.dataset.zoom), whole));
    if ("fit" in button.dataset) look(whole);
    if (button.dataset.mode) setMode(button.dataset.mode);
    if (button.dataset.zoom || "fit" in button.dataset) speak(`Shown ${(whole.w / view.w).toFixed(1)} times as large as the whole plan`);
  });
  for (const button of document.querySelectorAll("[data-place]")) button.addEventListener("click", () => choose(button));
  frame.querySelector("[data-tools]").hidden = false;
  frame.classList.add("is-live");
  new ResizeObserver(() => look(view)).observe(svg);
  look(view);
}

if (typeof document !== "undefined") for (const frame of document.querySelectorAll("[data-plan]")) start(frame);
