"""Parts as they come out: readings, what they change, ways out, order of making, passes."""
