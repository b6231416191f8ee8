"""What runs leave behind: summaries, records, the status of each plant."""
