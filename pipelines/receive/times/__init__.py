"""Time stamps as text to UTC."""
