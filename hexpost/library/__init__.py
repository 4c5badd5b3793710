"""The gate: many programs, each checked alone, judged by one policy."""
