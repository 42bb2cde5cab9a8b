"""What is seen becomes what it says: rulebooks as data, and one pure interpretation. No pixels here."""
