"""Files for other programs: spreadsheet, layers, waypoints, Darwin Core."""
