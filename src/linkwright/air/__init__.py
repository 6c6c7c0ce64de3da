"""What is on the air at a site: sweeps read and judged, and other transmitters."""
