"""From the general model to one person's: short speech in, a folder of the same size and speed out."""
