"""Whose limits for breathed air the finish room is held against, as somebody chose for this yard."""

import sqlalchemy as sa
from alembic import op

revision = '0009'
down_revision = '0008'
branch_labels = None
depends_on = None


def upgrade():
    op.create_table(
        'air_region',
        sa.Column('id', sa.Integer(), nullable=False),
        sa.Column('subject_id', sa.Integer(), nullable=False),
        sa.Column('true_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_by', sa.Text(), nullable=False),
        sa.Column('supersedes', sa.Integer(), nullable=True),
        sa.Column('withdrawn', sa.Boolean(), nullable=False),
        sa.Column('region', sa.Text(), nullable=False),
        sa.Column('note', sa.Text(), nullable=False),
        sa.ForeignKeyConstraint(['subject_id'], ['subject.id'], name=op.f('fk_air_region_subject_id')),
        sa.ForeignKeyConstraint(['supersedes'], ['air_region.id'], name=op.f('fk_air_region_supersedes')),
        sa.PrimaryKeyConstraint('id', name=op.f('pk_air_region')),
        sa.UniqueConstraint('supersedes', name=op.f('uq_air_region_supersedes')),
    )
    op.create_index(op.f('ix_air_region_subject_id_true_at_ms'), 'air_region', ['subject_id', 'true_at_ms'])
