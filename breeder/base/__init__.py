"""What every room needs: settings, roles, the log, photos, form tokens, page parts, CSV in and out."""
