"""Every text of the proof page, in English, in one place: give `proof_html` another mapping for another language.

Words in braces are filled in: {frame}, {look}, {count}, {total}, {number}, {file}, {contact}. Each text must keep its
own.
"""

from collections.abc import Mapping
from types import MappingProxyType

#: For <html lang="…">, and how the language runs: ltr or rtl.
LANGUAGE, DIRECTION = "en", "ltr"

TEXTS: Mapping[str, str] = MappingProxyType(
    {
        "page": "proofs",
        "look_step": "Look",
        "look_how": "Click or tap a picture to see it large.",
        "choose_step": "Choose",
        "choose_how": "Tick the looks that you would like to have, one or several of a frame. Add a note wherever you "
        "want to say more.",
        "send_step": "Send",
        "send_how": "Save your answer at the foot of this page, then send us the saved file.",
        "send_how_to": "Save your answer at the foot of this page, then send the saved file to {contact}.",
        "kept": "Your choices are kept in this browser.",
        "not_kept": "This browser does not keep what you choose. Save your answer before you close the page.",
        "no_script": "Choosing needs JavaScript, which is turned off in this browser. You can still look at everything "
        "and tell us the names below the pictures.",
        "to_frames": "Go to the frames",
        "to_answer": "Go to your answer",
        "how": "Keys and touch",
        "keys_grid": "Among the small pictures: arrows move, 1 to 9 go to a look, Enter looks closely, Space chooses, "
        "N writes a note, hold O (or hold a picture) for the original.",
        "keys_close": "Looking closely: left and right change the frame, up and down or 1 to 9 the look, Space or "
        "Enter chooses, N writes a note, S puts the looks side by side, Z shows the full size, hold O (or hold the "
        "picture) for the original, Esc goes back. By touch: swipe left or right, hold, tap twice for the full size.",
        "no_setup": "More frames",
        "show_looks": "Looks",
        "side_by_side": "Side by side",
        "show_frames": "Frames",
        "all_frames": "All",
        "chosen_frames": "Chosen",
        "open_frames": "Not chosen",
        "noted_frames": "With a note",
        "nothing_here": "No frame to show here.",
        "picture": "{frame}, {look}",
        "choose_this": "{look}: choose {frame}",
        "write_note": "Add a note",
        "write_note_on": "Add a note on {frame}",
        "change_note": "Change note",
        "change_note_on": "Change the note on {frame}",
        "progress": "{count} of {total} frames chosen",
        "answer": "Your answer",
        "save": "Save answer",
        "copy": "Copy as text",
        "saved": "Saved as {file}, among your downloads. Now send us that file.",
        "saved_to": "Saved as {file}, among your downloads. Now send that file to {contact}.",
        "copied": "Copied. Now paste it into a message to us.",
        "copied_to": "Copied. Now paste it into a message to {contact}.",
        "copy_by_hand": "Mark all of the text below, copy it, and paste it into a message to us.",
        "nothing_chosen": "Nothing is chosen or noted yet.",
        "answer_none": "nothing chosen",
        "answer_leave": "The lines below are for our program. Please leave them as they are.",
        "close": "Back",
        "position": "{number} of {total}",
        "stage": "{frame} in {look}. Space chooses, arrows go on, hold O for the original.",
        "look": "Look",
        "choose": "Choose {look}",
        "chosen": "{look} is chosen",
        "original": "Original",
        "zoom": "Full size",
        "previous": "Previous frame",
        "next": "Next frame",
        "note_on": "A note on this frame",
        "note_left": "{count} signs left",
    }
)
