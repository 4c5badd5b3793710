"""What the tool understood of a program, and what two revisions of one mean differently."""
