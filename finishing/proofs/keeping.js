// What is chosen, kept in this browser under the session's id. These files make one script: see page.py.

const page = JSON.parse(document.getElementById("proof").textContent);
const text = page.texts;
const by = (id) => document.getElementById(id);
const words = (key, values) => text[key].replace(/\{(\w+)\}/g, (whole, name) => (name in values ? String(values[name]) : whole));
const HOLD = 220; // milliseconds of pressing before the original shows: longer than a tap
const SWIPE = 45; // CSS pixels

// A frame's looks, in the page's order: those that it was given.
const looksOf = page.frames.map((frame) => page.looks.flatMap((look, index) => (Object.hasOwn(frame.looks, look.name) ? [index] : [])));
const picture = (frame, look) => (look < 0 ? page.frames[frame].original : page.frames[frame].looks[page.looks[look].name]);

const KEY = "finishing-proof:" + page.id;
const picks = new Map(); // by the frame's name: {looks: Set of look names, note}
const pickOf = (frame) => {
  const name = page.frames[frame].name;
  if (!picks.has(name)) picks.set(name, { looks: new Set(), note: "" });
  return picks.get(name);
};

// Control signs, lone halves of a pair, and signs that turn the direction of writing have no place in a note.
const clean = (note) => note.replace(/\r\n?|[\u2028\u2029]/g, "\n").replace(/[\p{Cc}\p{Cs}\u202a-\u202e\u2066-\u2069]/gu, (sign) => (sign === "\n" ? sign : "")).slice(0, page.noteLimit).replace(/\p{Cs}/gu, "").trim();

function load() {
  try {
    for (const kept of JSON.parse(localStorage.getItem(KEY) || "[]")) {
      if (typeof kept.frame !== "string" || !Array.isArray(kept.looks) || typeof kept.note !== "string") continue;
      picks.set(kept.frame, { looks: new Set(kept.looks.filter((look) => typeof look === "string")), note: clean(kept.note) });
    }
  } catch { picks.clear(); }
}

function keep() {
  const all = [...picks].filter(([, pick]) => pick.looks.size || pick.note);
  try {
    localStorage.setItem(KEY, JSON.stringify(all.map(([frame, pick]) => ({ frame, looks: [...pick.looks], note: pick.note }))));
  } catch {
    by("kept").textContent = text.not_kept;
    by("kept").className = "warning";
  }
}

const chosenLooks = (frame) => looksOf[frame].filter((look) => pickOf(frame).looks.has(page.looks[look].name));

function toggle(frame, look) {
  const looks = pickOf(frame).looks;
  const name = page.looks[look].name;
  if (!looks.delete(name)) looks.add(name);
  changed(frame);
}

function changed(frame) {
  keep();
  paint(frame);
  count();
  by("told").textContent = "";
}

function count() {
  const chosen = page.frames.filter((_, frame) => chosenLooks(frame).length).length;
  by("progress").textContent = words("progress", { count: chosen, total: page.frames.length });
}
