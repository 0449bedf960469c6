"""Building blocks: operations and set-up that are written once, and used by procedures with parameters.

======================  ==========================================================================
``block_keys``          the keys of a block file, of a parameter and of `use`
``block_file``          a block file as read
``block_library``       finds block files by id in the folders of a procedure, the shop and the program
``parameter_kinds``     the kinds of parameters; checks what a procedure gives for them
``figure_arithmetic``   calculates a placeholder such as ``{final / 3}``
``placeholder_filling`` replaces the placeholders of a block by the given values
``name_roles``          where the ids of a block are defined and referred to, and their new names
``block_use``           expands one use of a block
``expansion_context``   what a use takes from the procedure, and what it gives back
``setup_merging``       adds the set-up of blocks to the procedure
``block_expansion``     expands all blocks of a procedure and writes it out
``tree_writer``         writes a tree of nodes as YAML text
``author_comments``     the author's comments in a procedure that is written out
``source_map``          maps a place in the written-out text to the line of the author and of the block
``block_page``          the page of a block in the guide
``block_sample``        checks a block alone, with its samples
``block_stand_ins``     values in place of samples that are missing
``defined_names``       the names that a procedure defines
======================  ==========================================================================
"""
