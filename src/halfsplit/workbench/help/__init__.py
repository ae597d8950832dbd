"""Help: the keys, what each page is for, and an example of each to open."""
