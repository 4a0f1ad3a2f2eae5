"""The project's migrations, and after them one that changes a column: SQLite rebuilds the table for it."""
