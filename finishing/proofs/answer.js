// The answer, and how the page begins.

function answer() {
  const told = page.frames.map((frame, index) => ({ frame: frame.name, looks: chosenLooks(index).map((look) => page.looks[look].name), note: pickOf(index).note }));
  return { finishing_answer: page.version, session: { id: page.id, title: page.title }, picks: told.filter((pick) => pick.looks.length || pick.note) };
}

const LINE = 60; // signs: mail programs break lines from about 65 on

/** The answer as a block that survives mail: see messages.py. CRC-32 as in RFC 1952, section 8. */
function packed(given) {
  const bytes = new TextEncoder().encode(JSON.stringify(given));
  let check = -1;
  for (const byte of bytes) {
    check ^= byte;
    for (let bit = 0; bit < 8; bit++) check = (check >>> 1) ^ (0xedb88320 & -(check & 1));
  }
  const base64 = btoa(Array.from(bytes, (byte) => String.fromCharCode(byte)).join("")).replace(/=+$/, "");
  const word = (~check >>> 0).toString(16).padStart(8, "0");
  return ["ANSWER BEGINS HERE", ...base64.match(new RegExp(`.{1,${LINE}}`, "g")), `ANSWER ENDS HERE ${word}`];
}

function readable(given) {
  const titles = new Map(page.looks.map((look) => [look.name, look.title]));
  const lines = [page.title, by("progress").textContent, ""];
  for (const pick of given.picks) {
    lines.push(`${pick.frame}: ${pick.looks.map((look) => titles.get(look)).join(", ") || text.answer_none}`);
    if (pick.note) lines.push(...pick.note.split("\n").map((line) => "    " + line));
  }
  return [...lines, "", text.answer_leave, "", ...packed(given), ""].join("\n");
}

/** What to do with the answer, with the address where there is one. */
const sent = (key, keyWithAddress, values) => words(page.contact ? keyWithAddress : key, { ...values, contact: page.contact });
const tell = (words) => { by("told").textContent = words; };

by("save").addEventListener("click", () => {
  const given = answer();
  if (!given.picks.length) { tell(text.nothing_chosen); return; }
  const link = document.createElement("a");
  link.href = URL.createObjectURL(new Blob([JSON.stringify(given, null, 1) + "\n"], { type: "application/json" }));
  link.download = "answer.json";
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 60000);
  tell(sent("saved", "saved_to", { file: link.download }));
});

by("copy").addEventListener("click", async () => {
  const given = answer();
  if (!given.picks.length) { tell(text.nothing_chosen); return; }
  try {
    await navigator.clipboard.writeText(readable(given));
    tell(sent("copied", "copied_to"));
  } catch { // an old browser, or a page from a host without encryption
    by("by-hand-text").value = readable(given);
    by("by-hand").showModal();
    by("by-hand-text").select();
    if (document.execCommand("copy")) { by("by-hand").close(); tell(sent("copied", "copied_to")); }
  }
});
by("by-hand-close").addEventListener("click", () => by("by-hand").close());

load();
items.forEach((_, frame) => { if (picks.has(page.frames[frame].name)) paint(frame); });
count();
by("show-looks").addEventListener("change", view);
by("show-frames").addEventListener("change", view);
window.addEventListener("storage", (event) => { // the same page in another window
  if (event.key !== KEY) return;
  picks.clear();
  load();
  items.forEach((_, frame) => paint(frame));
  count();
  if (viewer.open) refresh();
});
