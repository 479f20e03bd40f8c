"""Numbers as people type them, turned once at the edge, and sizes that a drill can make."""
