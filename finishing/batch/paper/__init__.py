"""Contact sheets, strips, steps, the look book, the plan on paper."""
