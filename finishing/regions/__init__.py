"""Where a step acts: what `where` can say, as weights from 0 to 1 for every pixel."""
