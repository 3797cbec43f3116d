"""What is heard: samples, plucks, partials and their fundamental."""
