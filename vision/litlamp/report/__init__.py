"""A reading becomes something for a person or a program."""
