-- All tables, views and sequences of the store, which is always called faultodds, into the attached database backup.
copy from database faultodds to backup;
