"""May this parcel leave on this day? The check, whole, with its digest."""
