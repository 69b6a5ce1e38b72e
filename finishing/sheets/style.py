"""The sheets' look: type sizes in points, spaces in millimetres, neutral greys as sRGB codes.

The surround of the pictures is one neutral grey, because colours are judged against what lies next to
them: ISO 3664 asks for a neutral, matt surround whose reflectance is between 10 % and 60 % (from
memory). A code of 188 stands for 50 % of the paper's reflectance (IEC 61966-2-1: encode(0.5) = 0.735).
"""

TITLE_PT = 17.0
SUBTITLE_PT = 9.0
RUNNING_PT = 8.0
HEADING_PT = 10.5
CONTINUED_PT = 9.0
DETAIL_PT = 8.0
COLUMN_PT = 8.0
MARK_PT = 9.5
NAME_PT = 7.5
CAPTION_PT = 7.0
MESSAGE_PT = 7.0
FOOTER_PT = 7.0
LEADING = 1.28  # a line's height as a multiple of the type size

PAPER_GREY = 255
PANEL_GREY = 188
PLACEHOLDER_GREY = 214
INK_GREY = 26
QUIET_GREY = 92

MARGIN_SHARE = 0.068  # of the paper's shorter side
LEAST_MARGIN_MM = 9.0
GREATEST_MARGIN_MM = 20.0

PANEL_PAD_MM = 3.2  # grey round the pictures
SLOT_GAP_MM = 4.0  # between pictures on one panel
PANEL_GAP_MM = 5.0  # between panels side by side
CAPTION_GAP_MM = 1.5
LINE_GAP_MM = 5.0
GROUP_GAP_MM = 8.0
HEADING_GAP_MM = 2.2
DETAIL_GAP_MM = 0.5
NOTE_GAP_MM = 1.0  # above the notes below a heading
COLUMN_GAP_MM = 1.0
HEADER_GAP_MM = 7.0
RUNNING_GAP_MM = 5.0
FOOTER_GAP_MM = 5.0
TEXT_GAP_MM = 3.0  # between texts side by side
MARK_GAP_MM = 1.6
MESSAGE_PAD_MM = 1.5
HISTOGRAM_MM = 4.5  # the height of the bars
HISTOGRAM_GAP_MM = 1.0  # below them
HISTOGRAM_GREY = 120

# Pictures within these shapes (width over height) all get the same area; longer ones are fitted inside.
WIDEST_SHAPE = 1.8
TALLEST_SHAPE = 1 / 1.8
UNKNOWN_SHAPE = 1.5

# Widths of a 3:2 picture below which the layout takes another page rather than smaller pictures.
COMFORTABLE_ALONE_MM = 37.0
COMFORTABLE_LOOKS_MM = 48.0
LEAST_SLOT_MM = 30.0  # narrower columns are never chosen, only asked for
LEAST_ASKED_SLOT_MM = 16.0
LEAST_PICTURE_MM = 6.0  # the side of a square picture
