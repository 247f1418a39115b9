"""Pure computation: no Django, no database, no clock."""
