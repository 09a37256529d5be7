"""The steady solver: one long pass at one lift, by multiple shooting."""
