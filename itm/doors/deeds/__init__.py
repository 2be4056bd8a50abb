"""What each verb does: the service or action that the page calls, after the form of the page."""
