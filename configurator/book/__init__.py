"""What a workshop keeps: runs and the shelf, in one database."""
