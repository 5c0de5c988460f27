"""The pictures themselves: is it one, and is it whole on the disk. Their records travel as changes."""
