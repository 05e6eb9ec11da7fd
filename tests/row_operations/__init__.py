"""What people do to rows, tried by the thousand: no row inserted, deleted or moved may change a dose."""
