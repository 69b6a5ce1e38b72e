"""Contact sheets: the page layout as pure arithmetic in millimetres, and the drawing of laid-out pages."""
