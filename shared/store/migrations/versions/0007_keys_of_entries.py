"""Keys of entries that were made without a connection, so that each is entered once."""

import sqlalchemy as sa
from alembic import op

revision = '0007'
down_revision = '0006'
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        'entry_key',
        *(sa.Column(name, sa.Text(), nullable=False) for name in ('key', 'content', 'kind')),
        sa.Column('fact_id', sa.Integer(), nullable=False),
        sa.Column('subject_id', sa.Integer(), nullable=False),
        sa.Column('sentence', sa.Text(), nullable=False),
        sa.Column('at_ms', sa.BigInteger(), nullable=False),
        sa.ForeignKeyConstraint(['subject_id'], ['subject.id'], name=op.f('fk_entry_key_subject_id')),
        sa.PrimaryKeyConstraint('key', name=op.f('pk_entry_key')),
        sqlite_with_rowid=False,
    )
