"""A year of real hours decided day by day on forecasts made from them, then what really was sent through the box."""
