"""What leaves the suite: tables, bench sheets and the one file to share."""
