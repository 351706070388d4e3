"""Pages of training: everybody's against the types, one person's, recording, and what places ask."""
