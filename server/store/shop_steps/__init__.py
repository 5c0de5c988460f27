"""The numbered .sql steps of a shop's own PostgreSQL. A step once published is never edited: add the next."""
