"""The page that follows a watch: verdict, picture, strip, heartbeat, and what can be answered."""
