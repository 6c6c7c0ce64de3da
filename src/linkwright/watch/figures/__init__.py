"""What a day of readings comes to, in bounded memory: figures, outlines, the newest of every link."""
