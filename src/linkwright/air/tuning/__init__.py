"""A receiver that is tuned over the band, or recordings in its place: samples become the lines of a live sweep."""
