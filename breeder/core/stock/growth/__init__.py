"""Growth of a tub and the date of a wanted surplus; forecasts only, because births are never sold before a count."""
