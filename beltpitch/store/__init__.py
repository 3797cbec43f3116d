"""What is kept: machine files, the book of readings, reports and pictures."""
