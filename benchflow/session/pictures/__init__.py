"""Pictures of a job: reading and checking a file, storing it beside the log, thumbnails, and the incoming folder.

====================  ==========================================================================
``picture_kinds``     recognises a picture by its first bytes
``whole_files``       checks that a file is not cut off
``heic_reader``       reads a HEIC, by ``heic_process`` in a process of its own
``picture_file``      reads a file and checks that it is a whole picture
``stored_pictures``   stores pictures in a folder beside the log, and checks them
``thumbnails``        small pictures for the sheets
``picture_check``     compares the stored pictures with the log
``other_jobs``        which other job has a picture already
``incoming_folder``   finds new pictures in the folder of a phone
====================  ==========================================================================
"""
