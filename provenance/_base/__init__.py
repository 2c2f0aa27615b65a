"""What everything else uses: errors, findings, locks, writing to disk."""
