"""What people agreed to take; the only room that promises animals to people."""
