"""One batch: what is known of it before any reading, and what the readings make of that."""
