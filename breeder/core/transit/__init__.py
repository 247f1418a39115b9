"""Service, day and place turned into legs, hours and the air around a box; schedules for many boxes."""
