"""Pages of the people room: signing in and out, one's own account, and everybody's."""
