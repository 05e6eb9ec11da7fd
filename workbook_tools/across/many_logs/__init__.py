"""Many logs at once: finds them, reads each once into tables of one kind of row, and answers across all of them."""
