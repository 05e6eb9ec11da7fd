"""A standing outsider: practices typed at random, and what their typed cells come to, worked out on another road."""
