"""Hours of weather as received and quality-checked, with source and issue time."""
