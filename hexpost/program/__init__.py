"""Characters to words and blocks, each with its place in the text."""
