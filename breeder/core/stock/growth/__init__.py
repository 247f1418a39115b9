"""How a tub grows, and when a wanted surplus will be there. Forecasts only: births are never sold before a count."""
