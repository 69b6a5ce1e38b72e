// One frame, looked at closely.

const viewer = by("viewer");
const stage = by("stage");
const note = by("note");
let current = { frame: 0, look: 0 };
let beside = false;
let original = false;
let away = true; // whether the small pictures have the focus again

function open(frame, look, toNote = false) {
  const first = chosenLooks(frame)[0] ?? looksOf[frame][0];
  current = { frame, look: look ?? (onlyLook ?? first) };
  setOriginal(false);
  if (!viewer.open) viewer.showModal();
  away = false;
  build();
  (toNote ? note : stage).focus();
}

/** The stage for the frame: one figure a look, of which one is shown, or all side by side. */
function build() {
  const frame = page.frames[current.frame];
  zoomed(false);
  stage.replaceChildren(...looksOf[current.frame].map((look) => {
    const figure = document.createElement("figure");
    const hold = document.createElement("div");
    const image = document.createElement("img");
    const caption = document.createElement("figcaption");
    const [, width, height, small] = picture(current.frame, look);
    hold.className = "hold";
    figure.dataset.look = String(look);
    image.style.setProperty("--ratio", String(width / height));
    image.style.setProperty("--full", String(width));
    image.style.backgroundImage = `url("${small}")`;
    image.draggable = false;
    image.decoding = "async";
    caption.append(bdi(page.looks[look].title));
    hold.append(image);
    figure.append(hold, caption);
    return figure;
  }));
  by("tabs").replaceChildren(...looksOf[current.frame].map((look, place) => {
    const button = document.createElement("button");
    const digit = document.createElement("b");
    button.type = "button";
    button.dataset.look = String(look);
    digit.textContent = place < 9 ? String(look + 1) : "";
    digit.setAttribute("aria-hidden", "true");
    button.append(digit, bdi(page.looks[look].title));
    return button;
  }));
  by("viewer-name").replaceChildren(bdi(frame.name));
  const order = shownFrames();
  by("position").textContent = words("position", { number: order.indexOf(current.frame) + 1, total: order.length });
  by("previous").disabled = order[0] === current.frame;
  by("next").disabled = order.at(-1) === current.frame;
  note.value = pickOf(current.frame).note;
  left();
  arrange();
  refresh();
  preload();
}

/** A text with its words in braces filled in, each set apart in its direction of writing. */
const filled = (key, values) => text[key].split(/\{(\w+)\}/).map((part, index) => (index % 2 ? bdi(values[part]) : part));

function bdi(words) {
  const element = document.createElement("bdi");
  element.textContent = words;
  return element;
}

const shownFrames = () => {
  const shown = items.flatMap((item, frame) => (item.hidden && frame !== current.frame ? [] : [frame]));
  return shown;
};

/** What is shown of the frame: files, captions, marks, pressed buttons. */
function refresh() {
  const { frame, look } = current;
  const chosen = chosenLooks(frame);
  stage.setAttribute("aria-label", words("stage", { frame: page.frames[frame].name, look: page.looks[look].title }));
  for (const figure of stage.children) {
    const own = Number(figure.dataset.look);
    const image = figure.querySelector("img");
    const caption = figure.querySelector("figcaption");
    const swapped = original && own === look;
    const title = swapped ? text.original : page.looks[own].title;
    figure.hidden = !beside && own !== look;
    figure.className = (own === look ? "current" : "") + (chosen.includes(own) ? " chosen" : "");
    caption.classList.toggle("is-original", swapped);
    caption.replaceChildren(bdi(title));
    image.alt = words("picture", { frame: page.frames[frame].name, look: title });
    const file = picture(frame, swapped ? -1 : own)[0];
    if (!figure.hidden && image.getAttribute("src") !== file) image.src = file;
  }
  for (const tab of by("tabs").children) {
    const own = Number(tab.dataset.look);
    tab.setAttribute("aria-pressed", String(own === look));
    tab.classList.toggle("is-chosen", chosen.includes(own));
    if (own === look) tab.scrollIntoView({ block: "nearest", inline: "nearest" });
  }
  const on = chosen.includes(look);
  by("pick").setAttribute("aria-pressed", String(on));
  by("pick-words").replaceChildren(...filled(on ? "chosen" : "choose", { look: page.looks[look].title }));
  by("original").setAttribute("aria-pressed", String(original));
  by("beside").setAttribute("aria-pressed", String(beside));
  by("beside").disabled = looksOf[frame].length < 2;
}

/** Side by side: as many columns as make the pictures largest. */
function arrange() {
  const many = beside && looksOf[current.frame].length > 1;
  stage.classList.toggle("beside", many);
  stage.style.gridTemplate = "";
  if (!many) return;
  const count = looksOf[current.frame].length;
  const [, width, height] = picture(current.frame, current.look);
  const room = getComputedStyle(stage);
  const across = stage.clientWidth - parseFloat(room.paddingLeft) * 2 + parseFloat(room.columnGap);
  const down = stage.clientHeight - parseFloat(room.paddingTop) * 2 + parseFloat(room.rowGap);
  const sizeIn = (columns) => Math.min(1, // never larger than the proof is; under each, some 44 pixels of caption
    (across / columns - parseFloat(room.columnGap)) / width,
    (down / Math.ceil(count / columns) - parseFloat(room.rowGap) - 44) / height);
  let best = 1;
  for (let columns = 2; columns <= count; columns += 1) if (sizeIn(columns) > sizeIn(best)) best = columns;
  stage.style.setProperty("--tall", `${Math.max(0, sizeIn(best) * height)}px`);
  stage.style.gridTemplate = `repeat(${Math.ceil(count / best)}, minmax(0, 1fr)) / repeat(${best}, minmax(0, 1fr))`;
}

let waiting = []; // kept, so that the pictures are not thrown away before they are shown
function preload() {
  const { frame, look } = current;
  const order = shownFrames();
  const next = order[order.indexOf(frame) + 1];
  const files = [picture(frame, look), page.frames[frame].original, ...looksOf[frame].map((own) => picture(frame, own))];
  if (next !== undefined) files.push(picture(next, looksOf[next].includes(look) ? look : looksOf[next][0]));
  const queue = [...new Set(files.map(([file]) => file))];
  const mine = (waiting = []);
  const load = () => {
    const file = queue.shift();
    if (!file || mine !== waiting) return;
    const image = new Image();
    image.onload = image.onerror = load; // one after the other: what is asked for first comes first
    image.src = file;
    mine.push(image);
  };
  load();
}

function go(by_) {
  const order = shownFrames();
  const frame = order[order.indexOf(current.frame) + by_];
  if (frame === undefined) return;
  const at = document.activeElement;
  current = { frame, look: looksOf[frame].includes(current.look) ? current.look : looksOf[frame][0] };
  original = false;
  build();
  if (at?.disabled || !viewer.contains(document.activeElement)) stage.focus();
}

function toLook(look) {
  if (!looksOf[current.frame].includes(look)) return;
  current.look = look;
  refresh();
}

function nextLook(by_) {
  const looks = looksOf[current.frame];
  toLook(looks[(looks.indexOf(current.look) + by_ + looks.length) % looks.length]);
}

function setOriginal(on) {
  if (original === on) return;
  original = on;
  if (stage.children.length) refresh();
}

function setBeside(on) {
  zoomed(false);
  beside = on;
  arrange();
  refresh();
}

/** Full size: one pixel of the proof to one of the page. at: where to look, in fractions of the picture. */
function zoomed(on, at = [0.5, 0.5]) {
  if (on && beside) setBeside(false);
  stage.classList.toggle("zoomed", on);
  by("zoom").setAttribute("aria-pressed", String(on));
  if (!on) return;
  const [, width, height] = picture(current.frame, current.look);
  stage.scrollTo(at[0] * width - stage.clientWidth / 2, at[1] * height - stage.clientHeight / 2);
}
const isZoomed = () => stage.classList.contains("zoomed");
const pickCurrent = () => { toggle(current.frame, current.look); refresh(); };

by("pick").addEventListener("click", pickCurrent);
by("beside").addEventListener("click", () => setBeside(!beside));
by("zoom").addEventListener("click", () => zoomed(!isZoomed()));
by("previous").addEventListener("click", () => go(-1));
by("next").addEventListener("click", () => go(1));
by("close").addEventListener("click", leave);
by("tabs").addEventListener("click", (event) => {
  const tab = event.target.closest("button");
  if (tab) toLook(Number(tab.dataset.look));
});
// A click or a key switches the original on and off; a longer press shows it for as long as it lasts.
let pressed = null; // since when, and whether the original was there before
by("original").addEventListener("pointerdown", (event) => { pressed = { at: event.timeStamp, before: original }; setOriginal(true); });
for (const name of ["pointercancel", "pointerleave"]) by("original").addEventListener(name, () => { if (pressed) setOriginal(false); pressed = null; });
by("original").addEventListener("click", (event) => {
  if (!pressed) setOriginal(!original);
  else setOriginal(event.timeStamp - pressed.at < HOLD && !pressed.before);
  pressed = null;
});
by("original").addEventListener("contextmenu", (event) => event.preventDefault());

function left() {
  const rest = page.noteLimit - note.value.length;
  by("left").textContent = rest <= 100 ? words("note_left", { count: rest }) : "";
}
note.addEventListener("input", () => {
  pickOf(current.frame).note = clean(note.value);
  left();
  changed(current.frame);
});

viewer.addEventListener("keydown", (event) => {
  if (!plain(event)) return;
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  const typing = event.target === note;
  const pressing = event.target.closest("button") !== null;
  if (key === "Escape") {
    if (typing) stage.focus();
    else if (isZoomed()) zoomed(false);
    else leave();
    event.preventDefault();
    return;
  }
  if (typing) return;
  const forward = document.documentElement.dir === "rtl" ? -1 : 1;
  if (key.startsWith("Arrow") && isZoomed() && event.target === stage) return; // the stage scrolls
  if (key === "ArrowRight") go(forward);
  else if (key === "ArrowLeft") go(-forward);
  else if (key === "ArrowDown") nextLook(1);
  else if (key === "ArrowUp") nextLook(-1);
  else if (key >= "1" && key <= "9" && key.length === 1) toLook(Number(key) - 1);
  else if ((key === " " || key === "Enter") && !pressing) { if (!event.repeat) pickCurrent(); }
  else if (key === "n") note.focus();
  else if (key === "o") setOriginal(true);
  else if (key === "s") { if (looksOf[current.frame].length > 1 && !event.repeat) setBeside(!beside); }
  else if (key === "z") { if (!event.repeat) zoomed(!isZoomed()); }
  else return;
  event.preventDefault();
});
viewer.addEventListener("keyup", (event) => { if (event.key.toLowerCase() === "o" && event.target !== note) setOriginal(false); });
window.addEventListener("blur", () => setOriginal(false));
/** Back to the small pictures at once: the dialog's own event comes later, and the focus would be elsewhere till then. */
function leave() {
  viewer.close();
  back();
}

function back() {
  if (away) return;
  away = true;
  original = false;
  waiting = [];
  if (by("show-frames").value !== "all") view();
  const mount = mountOf(current.frame, current.look);
  if (!mount || mount.closest("[hidden]")) { main.focus({ preventScroll: true }); return; }
  mount.focus({ preventScroll: true });
  mount.closest(".frame").scrollIntoView({ block: "nearest" });
}
viewer.addEventListener("close", back); // closed by the browser, on a gesture say
window.addEventListener("resize", () => { if (viewer.open) arrange(); });

// Pointer on the picture: hold for the original, swipe for the next frame, drag when it is larger than the stage.
let press = null;
stage.addEventListener("pointerdown", (event) => {
  if (event.button !== 0 || !event.isPrimary) return;
  const figure = event.target.closest("figure");
  if (beside && figure) toLook(Number(figure.dataset.look));
  press = { x: event.clientX, y: event.clientY, left: stage.scrollLeft, top: stage.scrollTop, moved: false };
  press.timer = setTimeout(() => setOriginal(true), HOLD);
});
stage.addEventListener("pointermove", (event) => {
  if (!press || !event.isPrimary) return;
  const [x, y] = [event.clientX - press.x, event.clientY - press.y];
  if (Math.hypot(x, y) > 8) { press.moved = true; clearTimeout(press.timer); }
  if (isZoomed() && event.pointerType === "mouse") stage.scrollTo(press.left - x, press.top - y);
});
function released(event, swiping) {
  if (!press) return;
  clearTimeout(press.timer);
  const [x, y] = [event.clientX - press.x, event.clientY - press.y];
  const swiped = swiping && press.moved && !original && !isZoomed() && event.pointerType !== "mouse";
  press = null;
  setOriginal(false);
  if (swiped && Math.abs(x) > SWIPE && Math.abs(x) > 1.5 * Math.abs(y)) go((x < 0) === (document.documentElement.dir !== "rtl") ? 1 : -1);
}
window.addEventListener("pointerup", (event) => released(event, true));
window.addEventListener("pointercancel", (event) => released(event, false));
stage.addEventListener("contextmenu", (event) => event.preventDefault());
stage.addEventListener("dblclick", (event) => {
  const box = stage.querySelector("figure.current img").getBoundingClientRect();
  zoomed(!isZoomed(), [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height]);
});
