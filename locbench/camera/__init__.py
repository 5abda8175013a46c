"""What detections of tags are worth, set beside a reference that never saw them."""
