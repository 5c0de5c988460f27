"""The numbered .sql steps that make the tables. A step once published is never edited: add the next."""
