"""What each page or terminal table shows, as plain data, already rounded and worded."""
