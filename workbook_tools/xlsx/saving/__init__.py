"""A file put in its place: whole, locked meanwhile, never over what somebody saved."""
