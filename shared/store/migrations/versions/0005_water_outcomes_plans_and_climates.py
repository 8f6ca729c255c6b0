"""Water that came to a board, what was found on it, moves planned, a place's usual months; all boards of a stack."""

import sqlalchemy as sa
from alembic import op

revision = '0005'
down_revision = '0004'
branch_labels = None
depends_on = None


def upgrade():
    # Added to the table as it stands: every row is left where it is, nobody having said how many boards there are.
    in_all = sa.CheckConstraint('boards_in_all > 0', name=op.f('ck_stack_fact_boards_in_all_positive'))
    op.add_column('stack_fact', sa.Column('boards_in_all', sa.Integer(), in_all, nullable=True))
    _facts(
        'water_event',
        sa.Column('kind', sa.Text(), nullable=False),
        _positive('water_event', 'water_kg'),
        sa.Column('faces', sa.Text(), nullable=False),
    )
    _facts(
        'outcome',
        sa.Column('kind', sa.Text(), nullable=False),
        sa.Column('degree', sa.Text(), nullable=True),
        _positive('outcome', 'thickness_m', nullable=True),
        sa.Column('note', sa.Text(), nullable=False),
        sa.CheckConstraint(
            '(degree IS NULL) <> (thickness_m IS NULL)', name=op.f('ck_outcome_degree_or_thickness')
        ),
    )
    _facts(
        'planned_move',
        sa.Column('place_id', sa.Integer(), nullable=False),
        sa.ForeignKeyConstraint(['place_id'], ['subject.id'], name=op.f('fk_planned_move_place_id')),
    )
    _facts(
        'place_climate',
        sa.Column('temperature_c', sa.Text(), nullable=False),
        sa.Column('rh_pct', sa.Text(), nullable=False),
        sa.Column('source', sa.Text(), nullable=False),
    )


def _positive(table, name, nullable=False):
    check = sa.CheckConstraint(f'{name} > 0', name=op.f(f'ck_{table}_{name}_positive'))
    return sa.Column(name, sa.Float(), check, nullable=nullable)


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
