"""Does it fit: stacks, limits and fits, mould and draw sizes, sight lines, each with its working and its source."""
