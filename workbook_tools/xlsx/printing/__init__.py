"""Pages of paper: blocks, bands and the room there is for them."""
