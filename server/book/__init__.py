"""What is kept: crews, kits, venues, days, and each day's log of events with the state folded from it."""
