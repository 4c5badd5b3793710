"""Words to moves and events: modal state, offsets, tool lengths."""
