"""What the records of a file mean: header, long, wide and lab layouts, several tables in one file."""
