"""Parts, motions and seats, placed in the hub frame."""
