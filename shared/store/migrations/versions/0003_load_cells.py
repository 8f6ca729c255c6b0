"""Load cells: what each carries from when, and what it reads with nothing on it."""

import sqlalchemy as sa
from alembic import op

revision = '0003'
down_revision = '0002'
branch_labels = None
depends_on = None


def upgrade():
    _facts(
        'cell_load',
        sa.Column('board_id', sa.Integer(), nullable=True),
        sa.Column('stack_id', sa.Integer(), nullable=True),
        sa.Column(
            'cell_error_kg',
            sa.Float(),
            sa.CheckConstraint('cell_error_kg > 0', name=op.f('ck_cell_load_cell_error_kg_positive')),
            nullable=False,
        ),
        sa.ForeignKeyConstraint(['board_id'], ['subject.id'], name=op.f('fk_cell_load_board_id')),
        sa.ForeignKeyConstraint(['stack_id'], ['subject.id'], name=op.f('fk_cell_load_stack_id')),
    )
    _facts('cell_tare', sa.Column('reading_kg', sa.Float(), nullable=False))


def _facts(name, *columns):
    op.create_table(
        name,
        sa.Column('id', sa.Integer(), nullable=False),
        sa.Column('subject_id', sa.Integer(), nullable=False),
        sa.Column('true_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_at_ms', sa.BigInteger(), nullable=False),
        sa.Column('entered_by', sa.Text(), nullable=False),
        sa.Column('supersedes', sa.Integer(), nullable=True),
        sa.Column('withdrawn', sa.Boolean(), nullable=False),
        *columns,
        sa.ForeignKeyConstraint(['subject_id'], ['subject.id'], name=op.f(f'fk_{name}_subject_id')),
        sa.ForeignKeyConstraint(['supersedes'], [f'{name}.id'], name=op.f(f'fk_{name}_supersedes')),
        sa.PrimaryKeyConstraint('id', name=op.f(f'pk_{name}')),
        sa.UniqueConstraint('supersedes', name=op.f(f'uq_{name}_supersedes')),
    )
    op.create_index(op.f(f'ix_{name}_subject_id_true_at_ms'), name, ['subject_id', 'true_at_ms'])
