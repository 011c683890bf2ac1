"""A made-up venue, kit and day to try Lychgate with."""
