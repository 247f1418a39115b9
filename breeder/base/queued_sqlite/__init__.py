"""SQLite for Django, with one thing added: whoever asks to write first writes first."""
