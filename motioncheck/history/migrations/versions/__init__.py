"""The revisions, oldest first. A script that was released is never changed again."""
