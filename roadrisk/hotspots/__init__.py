"""Where crossings and reports gather along roads, how sure that is, and in what order."""
