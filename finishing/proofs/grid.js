// The small pictures.

const items = [...document.querySelectorAll(".frame")];
const cellsOf = items.map((item) => [...item.querySelectorAll(".cell")]);
const mountsShown = () => [...document.querySelectorAll(".mount")].filter((mount) => !mount.closest("[hidden]"));
const placeOf = (element) => ({ frame: Number(element.closest(".frame").dataset.frame), look: Number(element.closest(".cell").dataset.look) });
const mountOf = (frame, look) => cellsOf[frame].find((cell) => Number(cell.dataset.look) === look)?.querySelector(".mount");

function paint(frame) {
  const pick = pickOf(frame);
  for (const cell of cellsOf[frame]) {
    const on = pick.looks.has(page.looks[Number(cell.dataset.look)].name);
    cell.classList.toggle("picked", on);
    cell.querySelector(".choose").setAttribute("aria-pressed", String(on));
  }
  const note = items[frame].querySelector(".note");
  note.textContent = pick.note;
  note.hidden = !pick.note;
  const write = items[frame].querySelector(".write");
  write.textContent = pick.note ? text.change_note : text.write_note;
  write.setAttribute("aria-label", words(pick.note ? "change_note_on" : "write_note_on", { frame: page.frames[frame].name }));
}

let onlyLook = null;
function view() {
  const chosen = by("show-looks").value;
  const which = by("show-frames").value;
  onlyLook = chosen === "" ? null : Number(chosen);
  document.body.classList.toggle("one-look", onlyLook !== null);
  let some = false;
  items.forEach((item, frame) => {
    const picked = chosenLooks(frame).length > 0;
    const wanted = which === "all" || (which === "noted" ? pickOf(frame).note !== "" : picked === (which === "chosen"));
    item.hidden = !wanted || (onlyLook !== null && !looksOf[frame].includes(onlyLook));
    for (const cell of cellsOf[frame]) cell.hidden = onlyLook !== null && Number(cell.dataset.look) !== onlyLook;
    some ||= !item.hidden;
  });
  for (const group of document.querySelectorAll(".group")) group.hidden = !group.querySelector(".frame:not([hidden])");
  by("nothing").hidden = some;
}

/** Moves the focus to the next small picture in a direction; up and down by where the pictures stand. */
function step(from, key) {
  const all = mountsShown();
  const at = all.indexOf(from);
  let to = null;
  if (key === "ArrowRight" || key === "ArrowLeft") {
    to = all[at + ((key === "ArrowRight") === (document.documentElement.dir !== "rtl") ? 1 : -1)];
  } else {
    const here = from.getBoundingClientRect();
    const down = key === "ArrowDown";
    let best = Infinity;
    // Only the pictures around this one can stand in the next row; measuring all would draw those out of sight.
    for (const mount of all.slice(Math.max(0, at - 40), at + 41)) {
      const there = mount.getBoundingClientRect();
      const below = down ? there.top - here.top : here.top - there.top;
      if (below < here.height / 2) continue;
      const distance = below * 4 + Math.abs(there.left - here.left);
      if (distance < best) [best, to] = [distance, mount];
    }
  }
  if (!to) return;
  to.focus();
  to.scrollIntoView({ block: "nearest" });
}

let heldMount = null; // a small picture that shows the original
function showSmallOriginal(mount, on) {
  const image = mount.querySelector("img");
  const { frame, look } = placeOf(mount);
  image.src = on ? page.frames[frame].original[3] : picture(frame, look)[3];
  heldMount = on ? mount : null;
}

const main = by("frames");
let held = 0;
let swallow = false; // the click that ends a hold
main.addEventListener("pointerdown", (event) => {
  swallow = false;
  const mount = event.target.closest(".mount");
  if (!mount || event.button !== 0) return;
  held = setTimeout(() => { showSmallOriginal(mount, true); swallow = true; }, HOLD + 150);
});
for (const name of ["pointerup", "pointercancel", "pointerleave"]) {
  main.addEventListener(name, () => { clearTimeout(held); if (heldMount) showSmallOriginal(heldMount, false); });
}
main.addEventListener("contextmenu", (event) => { if (event.target.closest(".mount")) event.preventDefault(); });
main.addEventListener("click", (event) => {
  const button = event.target.closest("button");
  if (!button) return;
  if (button.className === "write") { open(Number(button.closest(".frame").dataset.frame), null, true); return; }
  const { frame, look } = placeOf(button);
  if (button.className === "choose") toggle(frame, look);
  else if (!swallow) open(frame, look);
  swallow = false;
});
const plain = (event) => !(event.ctrlKey || event.metaKey || event.altKey);
main.addEventListener("keydown", (event) => {
  const mount = event.target.closest(".mount");
  if (!mount || !plain(event)) return;
  const { frame, look } = placeOf(mount);
  const key = event.key.length === 1 ? event.key.toLowerCase() : event.key;
  if (key.startsWith("Arrow")) step(mount, key);
  else if (key >= "1" && key <= "9" && key.length === 1) mountOf(frame, Number(key) - 1)?.focus();
  else if (key === " ") { if (!event.repeat) toggle(frame, look); }
  else if (key === "n") open(frame, look, true);
  else if (key === "o") { if (!heldMount) showSmallOriginal(mount, true); }
  else return;
  event.preventDefault();
});
main.addEventListener("keyup", (event) => {
  if (heldMount && event.key.toLowerCase() === "o") showSmallOriginal(heldMount, false);
  if (event.key === " " && event.target.closest(".mount")) event.preventDefault();
});
main.addEventListener("focusout", () => { if (heldMount) showSmallOriginal(heldMount, false); });
